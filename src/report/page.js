// Tables are sorted by the heading that is pressed: numbers by size, words by letter, back and forth.
for (const table of document.querySelectorAll("figure table")) {
  const body = table.tBodies[0], heads = [...table.tHead.rows[0].cells];
  if (body.rows.length < 3) continue;
  const written = [...body.rows];
  // A cell may hold an interval or a unit behind its number; the minus sign is the typographer's.
  const number = text => parseFloat(text.replace(/[\u2009\u202f\u00a0,\s]/g, "").replace(/\u2212/g, "-"));
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const order = head.ariaSort === "ascending" ? "descending" : head.ariaSort === "descending" ? "" : "ascending";
      heads.forEach(other => other.removeAttribute("aria-sort"));
      const rows = [...written], key = row => row.cells[column].textContent.trim();
      if (order) {
        head.ariaSort = order;
        const back = order === "ascending" ? 1 : -1;
        rows.sort((a, b) => {
          const [x, y] = [key(a), key(b)], [m, n] = [number(x), number(y)];
          if (!head.classList.contains("number")) return back * x.localeCompare(y, "en", { numeric: true });
          // What is no number stays below, whichever way.
          return isNaN(m) || isNaN(n) ? isNaN(m) - isNaN(n) : back * (m - n);
        });
      }
      body.append(...rows);
    });
  });
}

// Sliders: what each source has alone, scaled, is added to what no source has alone.
for (const panel of document.querySelectorAll(".what-if")) {
  const scales = [...panel.querySelectorAll("input")], rows = [...panel.querySelectorAll("tbody tr")];
  const [biases, variances] = ["biases", "variances"].map(of => scales.map(scale => JSON.parse(scale.dataset[of])));
  // Standard normal distribution: Abramowitz M, Stegun IA, Handbook of Mathematical Functions, 7.1.26 (error below 2e-7).
  const below = score => {
    const x = Math.abs(score) / Math.SQRT2, t = 1 / (1 + 0.3275911 * x);
    const tail = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
    const half = 0.5 * tail * Math.exp(-x * x);
    return score < 0 ? half : 1 - half;
  };
  // The size within which 95 % of normal errors are.
  const within = (bias, sd) => {
    if (!(sd > 0)) return Math.abs(bias);
    let low = 0, high = Math.abs(bias) + 8 * sd;
    for (let i = 0; i < 50; i++) {
      const middle = (low + high) / 2;
      if (below((middle - bias) / sd) - below((-middle - bias) / sd) < 0.95) low = middle; else high = middle;
    }
    return (low + high) / 2;
  };
  const show = () => {
    for (const scale of scales) scale.previousElementSibling.textContent = scale.value;
    rows.forEach((row, output) => {
      let bias = +row.dataset.bias, variance = +row.dataset.variance;
      scales.forEach((scale, source) => {
        bias += scale.value * biases[source][output];
        variance += scale.value * scale.value * variances[source][output];
      });
      const sd = Math.sqrt(Math.max(0, variance)), p95 = row.dataset.shape * within(bias, sd);
      [bias, sd, p95].forEach((value, i) => row.cells[i + 1].textContent = value.toFixed(3).replace("-", "\u2212"));
    });
  };
  panel.addEventListener("input", show);
  panel.addEventListener("reset", () => setTimeout(show));
  panel.hidden = false;
  show();
}
