"use strict";
(() => {
  // Sorting: a heading pressed once sorts its own best way round, pressed again turns it. Blank cells stay last.
  const body = document.querySelector(".ranking tbody");
  const heads = [...document.querySelectorAll("th button")];
  heads.forEach((button, column) => button.addEventListener("click", () => {
    const head = button.parentElement;
    const was = head.getAttribute("aria-sort");
    const up = was ? was === "descending" : button.dataset.first === "up";
    heads.forEach((other) => other.parentElement.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    const rows = [...body.rows].map((row) => {
      const cell = row.cells[column];
      const key = cell.dataset.k;
      return { row, key: column === 1 ? cell.textContent.trim() : key === "" ? null : Number(key) };
    });
    rows.sort((a, b) => {
      if (a.key === null || b.key === null) return (a.key === null) - (b.key === null);
      const order = column === 1 ? a.key.localeCompare(b.key) : a.key - b.key;
      return up ? order : -order;
    });
    body.append(...rows.map((entry) => entry.row));
  }));

  // The note: what a mark or a point says, shown where it stands, for mouse, finger and keyboard alike.
  const note = document.getElementById("note");
  const said = (target) => {
    const owner = target.closest && target.closest("mark, .pt");
    if (!owner) return null;
    if (owner.title) { // once read it is a description, or the browser would show it a second time
      owner.dataset.note = owner.title;
      owner.setAttribute("aria-description", owner.title);
      owner.removeAttribute("title");
    }
    const title = owner.querySelector("title");
    if (title) { owner.dataset.note = title.textContent; title.remove(); }
    return owner;
  };
  let shown = null;
  const place = () => {
    if (!shown) return;
    const lines = shown.getClientRects(); // a mark may run over several lines: the note covers none of them
    const box = lines[0] || shown.getBoundingClientRect();
    const below = (lines[lines.length - 1] || box).bottom + 6;
    const room = below + note.offsetHeight < innerHeight;
    note.style.top = `${Math.max(0, room ? below : box.top - note.offsetHeight - 6)}px`;
    note.style.left = `${Math.max(8, Math.min(box.left, innerWidth - note.offsetWidth - 8))}px`;
  };
  const show = (target) => {
    shown = target && said(target);
    note.hidden = !shown;
    if (shown) note.textContent = shown.dataset.note;
    place();
  };
  document.addEventListener("focusin", (event) => show(event.target));
  document.addEventListener("focusout", () => show(null));
  document.addEventListener("pointerover", (event) => { if (said(event.target)) show(event.target); });
  document.addEventListener("pointerout", (event) => { if (said(event.target)) show(document.activeElement); });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") show(null); });
  addEventListener("scroll", place, { passive: true });
  addEventListener("resize", place, { passive: true });

  // What is folded on the screen is not lost on paper.
  addEventListener("beforeprint", () => document.querySelectorAll("details").forEach((part) => { part.open = true; }));

  // One stop for the Tab key in each advert; arrows go from mark to mark.
  document.querySelectorAll(".advert").forEach((advert) => {
    const marks = [...advert.querySelectorAll("mark")];
    marks.slice(1).forEach((mark) => { mark.tabIndex = -1; });
    advert.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      const next = step && marks[marks.indexOf(document.activeElement) + step];
      if (next) { event.preventDefault(); next.focus(); }
    });
  });
})();
