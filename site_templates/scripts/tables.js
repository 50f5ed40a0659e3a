/* Long tables: a filter, sorting by column heads, and the keyboard's way into a box that scrolls sideways.
 *
 *   <p class="filter-line"><label>Show <input class="filter" type="search" data-table="sensors"></label> <output></output></p>
 *   <div class="table-box"><table class="table sortable" id="sensors"><caption>…</caption>…</table></div>
 *
 * The filter keeps the rows that hold every word typed, in any column and any case; the <output> beside it says how
 * many. It may name several tables; one that is folded opens where it holds a row that was asked for.
 *
 * A head sorts its column on a click, or on Enter or Space: ascending, then descending. A cell sorts by its data-sort
 * where it has one, else by its text; numbers as numbers. <th data-sort="no"> is not sorted.
 * Rows with nothing to compare come last either way. Without scripts the tables stand as they are.
 */
(() => {
  "use strict";

  const words = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

  function value(row, column) {
    const cell = row.cells[column];
    if (!cell) return "";
    return (cell.dataset.sort ?? cell.textContent).trim();
  }

  function number(text) {
    const plain = text.replace(/−/g, "-").replace(/\s/g, "");
    return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain) ? Number(plain) : NaN;
  }

  function compare(a, b) {
    const [x, y] = [number(a), number(b)];
    return Number.isNaN(x) || Number.isNaN(y) ? words.compare(a, b) : x - y;
  }

  function sort(table, head) {
    const column = head.cellIndex;
    const descending = head.getAttribute("aria-sort") === "ascending";
    for (const other of head.parentNode.cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", descending ? "descending" : "ascending");
    for (const body of table.tBodies) {
      const rows = [...body.rows].map((row) => [value(row, column), row]);
      rows.sort(([a], [b]) => {
        if (!a || !b) return !a - !b;
        return descending ? compare(b, a) : compare(a, b);
      });
      body.append(...rows.map(([, row]) => row));
    }
  }

  function makeSortable(table) {
    const heads = table.tHead?.rows[table.tHead.rows.length - 1];
    if (!heads || heads.querySelector(".sort")) return;
    for (const head of heads.cells) {
      if (head.dataset.sort === "no" || !head.textContent.trim()) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.className = "sort";
      button.append(...head.childNodes);
      button.addEventListener("click", () => sort(table, head));
      head.append(button);
    }
  }

  function makeFilter(input) {
    const tables = input.dataset.table.split(" ").flatMap((id) => document.getElementById(id) ?? []);
    if (!tables.length) return;
    const rows = tables.flatMap((table) => [...table.tBodies]).flatMap((body) => [...body.rows]);
    const texts = rows.map((row) => row.textContent.toLowerCase());
    const count = input.closest(".filter-line")?.querySelector("output");
    const apply = () => {
      const wanted = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      let shown = 0;
      rows.forEach((row, i) => {
        row.hidden = !wanted.every((word) => texts[i].includes(word));
        shown += !row.hidden;
        const fold = row.closest("details:not([open])");
        if (fold && wanted.length && !row.hidden) fold.open = true;
      });
      if (count) count.textContent = `${shown} of ${rows.length}`;
    };
    input.addEventListener("input", apply);
    apply(); // a browser that goes back keeps what was typed
  }

  /* A box that scrolls must be reachable without a pointer, and then needs a role and a name (WCAG 2.1.1, 4.1.2). */
  function openToKeyboard(box) {
    if (box.scrollWidth <= box.clientWidth) {
      box.removeAttribute("tabindex");
      box.removeAttribute("role");
      return;
    }
    box.tabIndex = 0;
    box.setAttribute("role", "region");
    const caption = box.querySelector("caption")?.textContent.trim();
    if (!box.hasAttribute("aria-label")) box.setAttribute("aria-label", caption || "table, scrolls sideways");
  }

  document.querySelectorAll("table.sortable").forEach(makeSortable);
  document.querySelectorAll("input.filter").forEach(makeFilter);
  const boxes = document.querySelectorAll(".table-box");
  const watcher = new ResizeObserver((seen) => seen.forEach(({ target }) => openToKeyboard(target)));
  boxes.forEach((box) => watcher.observe(box));
})();
