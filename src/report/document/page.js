
"use strict";
// Pictures and tables of one page point at the same rows: what is picked in one is marked in all.
(() => {
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const make = (name, words, attributes = {}) => {
    const element = document.createElement(name);
    if (words) element.textContent = words;
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  };
  const picked = document.getElementById("picked");

  // --- What a row says: the table with the most cells for it. ---
  const rows = new Map();
  for (const tr of all("tr[data-row]")) {
    const known = rows.get(tr.dataset.row);
    if (!known || tr.cells.length >= known.cells.length) rows.set(tr.dataset.row, tr);
  }
  const headings = (table) => all("thead > tr > *", table).map((cell) => cell.dataset.name || cell.textContent.trim());
  const says = (row) => {
    const tr = rows.get(row);
    if (!tr) return `Row ${row}`;
    const names = headings(tr.closest("table"));
    return [...tr.cells]
      .map((cell, i) => [names[i], cell.textContent.trim()])
      .filter(([, words]) => words && words !== "–")
      .map(([name, words]) => (name ? `${name} ${words}` : words))
      .join(" · ");
  };

  // --- Picking. ---
  const order = [...new Set(all("[data-row]").map((e) => Number(e.dataset.row)))].sort((a, b) => a - b).map(String);
  let held = null;
  let shown = null;
  const show = (row) => {
    if (row === shown) return;
    shown = row;
    for (const element of all(".marked")) element.classList.remove("marked");
    if (row === null) {
      picked.textContent = "";
      return;
    }
    for (const element of all(`[data-row="${CSS.escape(row)}"]`)) element.classList.add("marked");
    picked.textContent = says(row);
  };
  const hold = (row) => {
    held = held === row ? null : row;
    show(held);
  };
  const rowOf = (event) => event.target.closest?.("[data-row]")?.dataset.row ?? null;
  document.addEventListener("pointerover", (event) => {
    const row = rowOf(event);
    if (row !== null) show(row);
  });
  document.addEventListener("pointerout", (event) => {
    if (rowOf(event) !== null) show(held);
  });
  document.addEventListener("click", (event) => {
    if (event.target.closest?.("a, button, input, summary")) return;
    const row = rowOf(event);
    if (row !== null) hold(row);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !event.target.closest?.("dialog")) {
      held = null;
      show(null);
    }
  });
  // A picture is walked through by the arrow keys.
  const walk = (svg) => {
    const here = [...new Set(all("circle.mark", svg).map((c) => c.dataset.row))].sort((a, b) => a - b);
    if (here.length === 0) return;
    const title = document.getElementById(svg.getAttribute("aria-labelledby"))?.textContent ?? "";
    svg.setAttribute("tabindex", "0");
    svg.setAttribute("role", "application");
    svg.removeAttribute("aria-labelledby");
    svg.setAttribute("aria-label", `${title}. Arrow keys go from row to row, Enter holds one.`);
    svg.addEventListener("keydown", (event) => {
      const at = here.indexOf(shown);
      const to = { ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at - 1, ArrowUp: at - 1, Home: 0, End: here.length - 1 }[event.key];
      if (to !== undefined) {
        event.preventDefault();
        show(here[Math.min(Math.max(to, 0), here.length - 1)]);
      } else if (event.key === "Enter" && shown !== null) {
        hold(shown);
      }
    });
    svg.addEventListener("blur", () => show(held));
  };
  all("figure > svg").forEach(walk);
  for (const tr of all("table tr[data-row]")) {
    tr.setAttribute("tabindex", "-1");
    tr.addEventListener("focus", () => show(tr.dataset.row));
    tr.addEventListener("keydown", (event) => {
      const next = { ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling" }[event.key];
      if (!next) return;
      event.preventDefault();
      let other = tr[next];
      while (other && (other.hidden || !other.dataset.row)) other = other[next];
      other?.focus();
    });
  }
  for (const table of all("table")) all("tbody tr[data-row]", table)[0]?.setAttribute("tabindex", "0");

  // --- Sorting and filtering. ---
  const value = (cell) => {
    const data = cell?.querySelector("data");
    return data ? Number(data.value) : (cell?.textContent ?? "").trim();
  };
  const compare = (a, b) => {
    // What is missing stands last.
    const empty = (v) => v === "" || v === "–";
    if (empty(a) || empty(b)) return empty(a) - empty(b);
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b), "en", { numeric: true });
  };
  for (const table of all("table")) {
    const body = table.tBodies[0];
    const lines = [...body.rows];
    if (lines.length < 3 || lines.some((tr) => tr.classList.contains("between"))) continue;
    table.tHead.classList.add("sortable");
    for (const th of all("th", table.tHead)) {
      const words = th.textContent;
      th.dataset.name = words;
      const button = make("button", words, { type: "button" });
      th.replaceChildren(button);
      button.addEventListener("click", () => {
        const down = th.getAttribute("aria-sort") === "ascending";
        for (const other of all("th", table.tHead)) other.removeAttribute("aria-sort");
        th.setAttribute("aria-sort", down ? "descending" : "ascending");
        const sign = down ? -1 : 1;
        const at = th.cellIndex;
        const sorted = lines.map((tr) => [value(tr.cells[at]), tr]).sort(([a], [b]) => sign * compare(a, b));
        body.append(...sorted.map(([, tr]) => tr));
      });
    }
    if (lines.length < 12) continue;
    const name = table.closest("[aria-label]")?.getAttribute("aria-label") ?? "the table";
    const label = make("label", "Show only rows with", { for: `${table.id}-filter` });
    const input = make("input", "", { type: "search", id: `${table.id}-filter`, "aria-label": `Show only rows with (${name})` });
    const count = make("span", "", { role: "status" });
    const filter = make("div", "", { class: "filter" });
    filter.append(label, input, count);
    table.closest(".wide").before(filter);
    input.addEventListener("input", () => {
      const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
      let left = 0;
      for (const tr of lines) {
        const text = [...tr.cells].map((cell) => cell.textContent.toLowerCase()).join(" ");
        tr.hidden = !words.every((word) => text.includes(word));
        left += !tr.hidden;
      }
      count.textContent = words.length ? `${left} of ${lines.length}` : "";
    });
  }

  // --- Enlarging. ---
  const dialog = make("dialog", "");
  const bar = make("div", "", { class: "bar" });
  const title = make("strong", "");
  const sheet = make("div", "", { class: "sheet", tabindex: "0" });
  let zoom = 100;
  const scale = (to) => {
    zoom = Math.min(Math.max(to, 50), 500);
    sheet.style.setProperty("--zoom", `${zoom}%`);
  };
  const button = (words, act) => {
    const made = make("button", words, { type: "button" });
    made.addEventListener("click", act);
    return made;
  };
  bar.append(title, button("Smaller", () => scale(zoom / 1.4)), button("Larger", () => scale(zoom * 1.4)), button("Close", () => dialog.close()));
  dialog.append(bar, sheet);
  document.body.append(dialog);
  dialog.addEventListener("close", () => sheet.replaceChildren());
  const open = (words, content) => {
    title.textContent = words;
    dialog.setAttribute("aria-label", words);
    sheet.setAttribute("aria-label", words);
    sheet.setAttribute("role", "region");
    sheet.replaceChildren(content);
    scale(100);
    dialog.showModal();
    if (content.tagName === "svg") walk(content);
  };
  for (const figure of all("figure")) {
    const svg = figure.querySelector("svg");
    const words = figure.querySelector("h3")?.textContent ?? "Picture";
    const enlarge = button("Enlarge", () => open(words, svg.cloneNode(true)));
    enlarge.className = "enlarge";
    enlarge.setAttribute("aria-label", `Enlarge: ${words}`);
    svg.before(enlarge);
  }
  for (const link of all('td a[href$=".svg"], th a[href$=".svg"]')) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const words = says(link.closest("tr").dataset.row ?? link.textContent);
      open(link.textContent, make("img", "", { src: link.getAttribute("href"), alt: words }));
    });
  }
  // On a sheet of scans a cell opens its scan.
  document.addEventListener("dblclick", (event) => {
    const row = rowOf(event);
    if (row !== null) rows.get(row)?.querySelector('a[href$=".svg"]')?.click();
  });

  // --- Printing shows what is folded, where the browser does not do it by itself. ---
  let opened = [];
  // Browsers do not repeat the head of a table on the next sheet while it holds buttons.
  let buttons = [];
  addEventListener("beforeprint", () => {
    opened = all("details:not([open])");
    for (const details of opened) details.open = true;
    buttons = all("thead th > button").map((button) => [button.parentNode, button]);
    for (const [th, button] of buttons) th.textContent = button.textContent;
  });
  addEventListener("afterprint", () => {
    for (const details of opened) details.open = false;
    for (const [th, button] of buttons) th.replaceChildren(button);
  });
})();
