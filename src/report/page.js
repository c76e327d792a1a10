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

// Sliders: what each source has alone, scaled, is added to what no source has alone. Where a run has one source at 0, 1/2 or 2
// and all others at 1, what it found stands below what is predicted.
for (const panel of document.querySelectorAll(".what-if")) {
  const scales = [...panel.querySelectorAll("input")], rows = [...panel.querySelectorAll("tbody tr")], checked = [0, 0.5, 2];
  const [biases, variances, runs] =
    ["biases", "variances", "runs"].map(of => scales.map(scale => JSON.parse(scale.dataset[of])));
  // Standard normal distribution: Abramowitz M, Stegun IA, Handbook of Mathematical Functions, 7.1.26 (error below 2e-7).
  const below = score => {
    const x = Math.abs(score) / Math.SQRT2, t = 1 / (1 + 0.3275911 * x);
    const tail = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))));
    const half = 0.5 * tail * Math.exp(-x * x);
    return score < 0 ? half : 1 - half;
  };
  // The size within which a proportion of normal errors are, in a direction.
  const within = (bias, sd, proportion, direction) => {
    const mean = direction === "below" ? -bias : bias, both = direction === "either";
    if (!(sd > 0)) return both ? Math.abs(mean) : mean;
    let high = Math.abs(mean) + 8 * sd, low = both ? 0 : -high;
    for (let i = 0; i < 50; i++) {
      const middle = (low + high) / 2;
      const inside = below((middle - mean) / sd) - (both ? below((-middle - mean) / sd) : 0);
      if (inside < proportion) low = middle; else high = middle;
    }
    return (low + high) / 2;
  };
  const digits = value => value.toFixed(3).replace("-", "\u2212");
  const show = () => {
    for (const scale of scales) scale.previousElementSibling.textContent = scale.value;
    const moved = scales.map((_, source) => source).filter(source => +scales[source].value !== 1);
    const place = moved.length === 1 ? checked.indexOf(+scales[moved[0]].value) : -1;
    rows.forEach((row, at) => {
      const of = row.dataset;
      let bias = +of.bias, variance = +of.variance;
      scales.forEach((scale, source) => {
        bias += scale.value * biases[source][at];
        variance += scale.value * scale.value * variances[source][at];
      });
      const sd = Math.sqrt(Math.max(0, variance)), values = [bias, sd, of.shape * within(bias, sd, 0.95, "either")];
      if (of.limit) values.push(of.requiredShape * within(bias, sd, +of.proportion, of.direction));
      const found = place < 0 ? [] : runs[moved[0]][at][place];
      values.forEach((value, i) => {
        const cell = row.cells[i + 1], limited = i === 3, run = found[i] ?? null;
        const beyond = number => limited && number > +of.limit ? " beyond" : "";
        cell.textContent = digits(value) + beyond(value);
        cell.classList.toggle("beyond", beyond(value) !== "");
        if (run === null) return;
        const below = document.createElement("span");
        below.className = "run";
        below.textContent = ` run: ${digits(run)}${beyond(run)}`;
        cell.append(below);
      });
    });
  };
  panel.addEventListener("input", show);
  panel.addEventListener("reset", () => setTimeout(show));
  panel.hidden = false;
  show();
}
