"use strict";
// What is folded away on screen is printed all the same.
addEventListener("beforeprint", () => {
  for (const fold of document.querySelectorAll("details")) fold.open = true;
});
(() => {
  const map = document.getElementById("map");
  const source = document.getElementById("numbers-data");
  if (!map || !source) return;
  const svg = map.querySelector("svg");
  const data = JSON.parse(source.textContent);
  const out = document.getElementById("numbers");
  const whole = svg.getAttribute("viewBox").split(" ").map(Number);
  let view = whole.slice();

  // Layers on and off; labels of a layer stand in a group of their own.
  const show = (box) => {
    for (const g of svg.querySelectorAll(`g[data-layer="${box.dataset.for}"]`)) {
      g.setAttribute("display", box.checked ? "inline" : "none");
    }
  };
  for (const box of document.querySelectorAll("input[data-for]")) {
    show(box);
    box.addEventListener("change", () => show(box));
  }

  // Zoom and pan move the view box; it never leaves the map.
  const clamp = (x, low, high) => Math.min(Math.max(x, low), high);
  const look = (x, y, w) => {
    w = clamp(w, whole[2] / 40, whole[2]);
    const h = (w * whole[3]) / whole[2];
    view = [clamp(x, 0, whole[2] - w), clamp(y, 0, whole[3] - h), w, h];
    svg.setAttribute("viewBox", view.map((v) => v.toFixed(3)).join(" "));
  };
  const zoom = (factor, at) => {
    const p = at || [view[0] + view[2] / 2, view[1] + view[3] / 2];
    const w = clamp(view[2] / factor, whole[2] / 40, whole[2]);
    const k = w / view[2];
    look(p[0] - (p[0] - view[0]) * k, p[1] - (p[1] - view[1]) * k, w);
  };
  const place = (event) => {
    const box = svg.getBoundingClientRect();
    const scale = Math.min(box.width / view[2], box.height / view[3]);
    const x0 = box.left + (box.width - view[2] * scale) / 2;
    const y0 = box.top + (box.height - view[3] * scale) / 2;
    return [view[0] + (event.clientX - x0) / scale, view[1] + (event.clientY - y0) / scale];
  };
  const acts = { in: () => zoom(1.5), out: () => zoom(1 / 1.5), all: () => look(0, 0, whole[2]) };
  for (const button of map.querySelectorAll("button[data-act]")) {
    button.addEventListener("click", acts[button.dataset.act]);
  }
  svg.addEventListener("wheel", (event) => {
    // The page scrolls over the map unless the map has the focus or Ctrl is held.
    if (!event.ctrlKey && !map.contains(document.activeElement)) return;
    event.preventDefault();
    zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, place(event));
  }, { passive: false });
  map.addEventListener("keydown", (event) => {
    if (event.target !== map) return;
    const step = view[2] / 8;
    const keys = {
      ArrowLeft: () => look(view[0] - step, view[1], view[2]),
      ArrowRight: () => look(view[0] + step, view[1], view[2]),
      ArrowUp: () => look(view[0], view[1] - step, view[2]),
      ArrowDown: () => look(view[0], view[1] + step, view[2]),
      "+": acts.in, "=": acts.in, "-": acts.out, 0: acts.all,
    };
    if (keys[event.key]) {
      event.preventDefault();
      keys[event.key]();
    }
  });
  const fingers = new Map();
  let moved = 0;
  svg.addEventListener("pointerdown", (event) => {
    moved = fingers.size ? 99 : 0;
    fingers.set(event.pointerId, event);
  });
  svg.addEventListener("pointermove", (event) => {
    const last = fingers.get(event.pointerId);
    if (!last) return;
    const scale = view[2] / svg.getBoundingClientRect().width;
    if (fingers.size === 1) {
      const [dx, dy] = [event.clientX - last.clientX, event.clientY - last.clientY];
      moved += Math.abs(dx) + Math.abs(dy);
      if (moved > 4) {
        svg.setPointerCapture(event.pointerId);
        look(view[0] - dx * scale, view[1] - dy * scale, view[2]);
      }
    } else {
      const other = [...fingers.values()].find((f) => f.pointerId !== event.pointerId);
      const apart = (a) => Math.hypot(a.clientX - other.clientX, a.clientY - other.clientY);
      const factor = apart(event) / Math.max(apart(last), 1);
      zoom(factor, place({ clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 }));
    }
    fingers.set(event.pointerId, event);
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, (e) => fingers.delete(e.pointerId));

  // Numbers of what was picked. Text goes in as text, never as markup.
  const make = (tag, text, parent, name) => {
    const e = document.createElement(tag);
    if (text !== undefined) e.textContent = text;
    if (name) e.className = name;
    if (parent) parent.append(e);
    return e;
  };
  const list = (title, heads, cells) => {
    make("h3", title, out);
    const body = make("tbody", undefined, make("table", undefined, out));
    heads.forEach((head, i) => {
      if (!cells[i]) return;
      const row = make("tr", undefined, body);
      make("th", head, row).scope = "row";
      make("td", cells[i], row, "n");
    });
  };
  const overlay = (name) => {
    let e = svg.querySelector("." + name);
    if (!e) {
      e = document.createElementNS(svg.namespaceURI, "path");
      e.setAttribute("class", name);
      svg.append(e);
    }
    return e;
  };
  const path = (row) => "M" + row.map((p) => p.join(" ")).join("L");
  const distance = ([x, y], line) => {
    let best = Infinity;
    for (let i = 0; i + 1 < line.length; i++) {
      const [ax, ay] = line[i], [bx, by] = line[i + 1];
      const long = (bx - ax) ** 2 + (by - ay) ** 2;
      const t = long ? clamp(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / long, 0, 1) : 0;
      best = Math.min(best, Math.hypot(x - ax - t * (bx - ax), y - ay - t * (by - ay)));
    }
    return best;
  };
  const blockPick = document.getElementById("pick-block");
  const drainPick = document.getElementById("pick-drain");
  const pickBlock = (index, row) => {
    const block = data.blocks[index];
    if (!block) return;
    out.replaceChildren();
    overlay("picked-block").setAttribute("d", block.outline);
    overlay("picked-row").setAttribute("d", "");
    if (blockPick) blockPick.value = String(index);
    if (drainPick) drainPick.value = "";
    if (row !== undefined && block.rows[row]) {
      overlay("picked-row").setAttribute("d", path(block.rows[row]));
      list("Row " + block.cells[row][0] + " of " + block.name, data.row_heads, block.cells[row]);
      const step = make("div", undefined, out, "step");
      for (const [words, to] of [["previous row", row - 1], ["next row", row + 1]]) {
        const button = make("button", words, step);
        button.type = "button";
        button.disabled = !block.rows[to];
        button.addEventListener("click", () => {
          pickBlock(index, to);
          const again = [...out.querySelectorAll("button")].find((b) => b.textContent === words && !b.disabled);
          (again || out).focus();
        });
      }
    }
    list("Block " + block.name, data.block_heads, block.numbers);
    if (row === undefined && block.rows.length) {
      const first = make("button", "show its rows one by one", out);
      first.type = "button";
      first.addEventListener("click", () => { pickBlock(index, 0); out.focus(); });
    }
  };
  const pickDrain = (index) => {
    const drain = data.drains[index];
    if (!drain) return;
    out.replaceChildren();
    overlay("picked-block").setAttribute("d", "");
    overlay("picked-row").setAttribute("d", drain.line);
    if (blockPick) blockPick.value = "";
    if (drainPick) drainPick.value = String(index);
    list("Drain " + drain.name, data.drain_heads, drain.numbers);
  };
  svg.addEventListener("click", (event) => {
    if (moved > 4) return;
    const drain = event.target.closest("[data-drain]");
    if (drain) {
      pickDrain(data.drains.findIndex((d) => d.id === drain.dataset.drain));
      return;
    }
    const block = event.target.closest("[data-block]");
    if (!block) return;
    const index = data.blocks.findIndex((b) => b.id === block.dataset.block);
    const at = place(event);
    let best = [undefined, Infinity];
    (data.blocks[index] || { rows: [] }).rows.forEach((row, i) => {
      const d = distance(at, row);
      if (d < best[1]) best = [i, d];
    });
    pickBlock(index, best[0]);
  });
  if (blockPick) blockPick.addEventListener("change", () => blockPick.value !== "" && pickBlock(Number(blockPick.value)));
  if (drainPick) drainPick.addEventListener("change", () => drainPick.value !== "" && pickDrain(Number(drainPick.value)));
})();
