// Tables are sorted by the heading that is pressed: numbers by size, words by letter, back and forth.
for (const table of document.querySelectorAll("table")) {
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
