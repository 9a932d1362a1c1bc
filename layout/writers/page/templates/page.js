"use strict";
(() => {
  const root = document.documentElement, body = document.body;
  root.classList.add("js");
  const key = "setout:" + body.dataset.job;
  const bays = [...document.querySelectorAll(".bay")];
  const links = new Map([...document.querySelectorAll("nav li a")].map((a) => [a.hash.slice(1), a]));
  const make = (tag, set = {}, ...kids) => {
    const node = Object.assign(document.createElement(tag), set);
    node.append(...kids);
    return node;
  };

  // --- what is laid, kept on this device -------------------------------------------------------
  let laid = {}, kept = true;
  const load = () => {
    try {
      const found = JSON.parse(localStorage.getItem(key) || "{}");
      laid = found && typeof found === "object" && !Array.isArray(found) ? found : {};
    } catch (error) {
      if (!(error instanceof SyntaxError)) kept = false;
      laid = {};
    }
  };
  const save = () => {
    try {
      localStorage.setItem(key, JSON.stringify(laid));
    } catch {
      kept = false;
    }
  };
  const done = (bay) => new Set(Array.isArray(laid[bay.id]) ? laid[bay.id] : []);
  const mark = (bay, label, is) => {
    load();
    const now = done(bay);
    if (is) now.add(label);
    else now.delete(label);
    laid[bay.id] = [...now];
    save();
  };

  // --- the list --------------------------------------------------------------------------------
  const state = (bay) => {
    const all = bay.querySelectorAll(".rows tbody tr").length;
    const now = [...bay.querySelectorAll(".rows tbody th")].filter((th) => done(bay).has(th.firstChild.data)).length;
    links.get(bay.id).querySelector(".state").textContent = now ? ` · ${now} of ${all} laid` : "";
    return [now, all];
  };
  const find = document.getElementById("q"), found = document.getElementById("found");
  const groups = [...document.querySelectorAll("nav .flat")].map((node) => ({
    node,
    head: node.querySelector("h3").textContent.toLowerCase(),
    items: [...node.querySelectorAll("li")].map((li) => [li, li.textContent.toLowerCase()]),
  }));
  const search = () => {
    const words = find.value.toLowerCase().split(/\s+/).filter(Boolean);
    let count = 0;
    for (const { node, head, items } of groups) {
      let any = false;
      for (const [li, text] of items) {
        const hit = words.every((w) => text.includes(w) || head.includes(w));
        li.hidden = !hit;
        any ||= hit;
        count += hit;
      }
      node.hidden = !any;
    }
    found.textContent = words.length ? `${count} of ${bays.length} bays` : "";
  };
  find.addEventListener("input", search);

  // --- one bay ---------------------------------------------------------------------------------
  const views = new Map();
  const view = (bay) => {
    if (!views.has(bay.id)) views.set(bay.id, open(bay));
    return views.get(bay.id);
  };

  const open = (bay) => {
    const lines = JSON.parse(bay.querySelector("script").textContent);
    const rows = [...bay.querySelectorAll(".rows tbody tr")];
    const runs = [...bay.querySelectorAll(".floor>g")];
    const top = bay.querySelector(".mark"), card = bay.querySelector(".card"), svg = bay.querySelector("figure svg");
    const plank = body.querySelector(".block>div:nth-child(3)").lastChild.data;
    let current = 0, picked = -1;

    const boxes = rows.map((tr, n) => {
      const [label, , ends] = lines[n];
      const said = ends.map(([head, big, , below]) => `${head} ${big} ${below}`.trim()).join(", ");
      const box = make("input", { type: "checkbox", ariaLabel: `Row ${label} laid: ${said}` });
      box.addEventListener("change", () => tick(n, box.checked));
      // By keyboard only: a finger's focus comes before its click, and the list must not move between.
      box.addEventListener("focus", () => box.matches(":focus-visible") && choose(n));
      box.addEventListener("keydown", (event) => {
        const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
        if (!step) return;
        event.preventDefault();
        boxes[Math.min(boxes.length - 1, Math.max(0, n + step))].focus();
      });
      tr.cells[0].append(make("label", {}, box));
      tr.addEventListener("click", (event) => {
        if (!event.target.closest("label")) choose(n);
      });
      return box;
    });

    // The card: head, figures, notes, pieces, buttons. Made once, filled for each row.
    const head = make("h3"), count = make("p", { className: "where" });
    const ends = make("div", { className: "ends" }), notes = make("div", { className: "notes" });
    const live = make("div", {}, ends, notes);
    live.setAttribute("aria-live", "polite");
    const pieces = make("ul", { className: "pieces" });
    const said = make("p", { className: "said" });
    said.setAttribute("role", "status");
    const back = make("button", { type: "button", textContent: "‹", ariaLabel: "Row before" });
    const next = make("button", { type: "button", className: "next" });
    const warn = make("p", { className: "note", textContent: "This browser keeps no ticks: they are lost when the page is closed." });
    card.append(make("div", { className: "head" }, head, count), live, pieces, said, make("div", { className: "go" }, back, next), warn);
    card.hidden = false;
    back.addEventListener("click", () => choose(Math.max(0, current - 1)));
    next.addEventListener("click", () => {
      tick(current, true);
      const open = boxes.findIndex((b, n) => n > current && !b.checked);
      choose(open < 0 ? boxes.findIndex((b) => !b.checked) : open);
    });

    const paint = () => {
      top.replaceChildren(...[...runs[current].children].map((path, n) => {
        const copy = path.cloneNode();
        if (n === picked) copy.classList.add("pick");
        return copy;
      }));
      if (picked >= 0) top.append(top.children[picked]);
    };

    const tell = (n) => {
      picked = n;
      [...pieces.children].forEach((li, k) => li.firstChild.setAttribute("aria-pressed", String(k === n)));
      const [from, ...words] = n < 0 ? [""] : lines[current][4][n];
      if (n < 0) said.textContent = "Tap a piece for its size, cuts and plank.";
      else said.textContent = `Piece ${n + 1}: ${words.length ? words.join("; ") : `full plank ${plank}; new plank`} (${from}).`;
      paint();
    };

    const choose = (n, piece = -1) => {
      rows[current].classList.remove("cur");
      current = n < 0 ? current : n;
      rows[current].classList.add("cur");
      const [label, backwards, columns, remarks, own] = lines[current];
      head.textContent = `Row ${label}`;
      ends.replaceChildren(...columns.map(([name, big, cut, below]) => make("div", {}, make("small", { textContent: name }),
        make("span", { className: cut ? "big cut" : "big", textContent: big }), make("small", { textContent: below }))));
      notes.replaceChildren(...(backwards ? ["Laid in reverse: tongue and groove swapped."] : []).concat(remarks)
        .map((note) => make("p", { className: "note" }, ...[note].flat().flatMap((text, k) => k === 1 ? [" ", make("span", { className: "tag", textContent: text }), " "] : [text]))));
      pieces.replaceChildren(...own.map(([, ...words], k) => {
        const button = make("button", { type: "button", textContent: k + 1, className: words.length ? "cutp" : "", ariaLabel: `Piece ${k + 1} of row ${label}` });
        button.addEventListener("click", () => tell(k));
        return make("li", {}, button);
      }));
      next.textContent = boxes.every((b) => b.checked) ? "All rows laid" : `Row ${label} laid, next`;
      tell(piece);
    };

    const refresh = () => {
      const now = done(bay);
      boxes.forEach((box, n) => {
        box.checked = now.has(lines[n][0]);
        rows[n].classList.toggle("laid", box.checked);
        runs[n].classList.toggle("laid", box.checked);
      });
      const [some, all] = state(bay);
      bay.classList.toggle("begun", some > 0);
      count.textContent = `${some} of ${all} rows laid`;
      warn.hidden = kept;
    };

    const tick = (n, is) => {
      mark(bay, lines[n][0], is);
      refresh();
      choose(n);
    };

    // A tap on the plan: the piece under it, else the nearest row at that height.
    svg.addEventListener("click", (event) => {
      const run = event.target.closest(".floor>g");
      if (run) return choose(runs.indexOf(run), [...run.children].indexOf(event.target));
      const y = event.clientY;
      const away = runs.map((g) => {
        const r = g.getBoundingClientRect();
        return Math.max(r.top - y, y - r.bottom, 0) + Math.max(r.left - event.clientX, event.clientX - r.right, 0) / 1000;
      });
      choose(away.indexOf(Math.min(...away)));
    });

    refresh();
    const first = boxes.findIndex((b) => !b.checked);
    choose(first < 0 ? 0 : first);
    return { refresh };
  };

  // --- which bay is shown: the address says so -------------------------------------------------
  const show = (moved) => {
    const bay = bays.find((b) => "#" + b.id === location.hash);
    for (const b of bays) b.classList.toggle("open", b === bay);
    for (const [id, a] of links) {
      if (bay && id === bay.id) a.setAttribute("aria-current", "true");
      else a.removeAttribute("aria-current");
    }
    root.classList.toggle("one", !!bay);
    if (bay) view(bay);
    if (!moved) return;
    const to = bay || document.getElementById(location.hash === "#list" ? "list" : "job");
    to.focus({ preventScroll: true });
    scrollTo(0, bay ? 0 : to.getBoundingClientRect().top + scrollY);
  };
  addEventListener("hashchange", () => show(true));
  addEventListener("storage", (event) => {
    if (event.key !== key) return;
    load();
    bays.forEach(state);
    views.forEach((v) => v.refresh());
  });

  load();
  document.querySelectorAll("nav [hidden]").forEach((node) => (node.hidden = false));
  bays.forEach(state);
  show(false);
})();
