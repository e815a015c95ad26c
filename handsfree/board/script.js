"use strict";
(() => {
  const STALE_AFTER_MS = 7000;   // The program speaks every two seconds: three were missed.
  const HANGS_AFTER_MS = 14000;  // Then the stream is given up and opened anew.
  const AGAIN_AFTER_MS = [500, 1000, 2000, 4000];
  const WRONG_TOKEN_AGAIN_MS = 15000;
  const MINUTE = 60000, HOUR = 60 * MINUTE, DAY = 24 * HOUR;
  const MOST_TEXT = 1 << 20;

  const byId = (id) => document.getElementById(id);
  let view = null, hasButton = false, ticks = true, isRefused = false;
  let offset = 0;                // The program's clock less this page's, never set back in a stream.
  let isFirst = true;            // No news came yet by the stream that is open.
  let heardAt = -Infinity;       // This page's clock at the newest news.
  let shownClock = "";
  let pressed = null;            // Key of the announcement whose button was pressed.
  let tickers = [];              // What counts down: called with the program's time.
  let fits = [];                 // Text that fills its box.

  // --- small pieces ------------------------------------------------------------------------

  const el = (tag, className, ...parts) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    made.append(...parts.filter((part) => part !== null));
    return made;
  };
  const svg = (tag, attributes, ...parts) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...parts);
    return made;
  };

  // This page's clock. A device that sleeps stops one of the two: the later is the right one.
  const opened = Date.now(), openedTick = performance.now();
  const localNow = () => Math.max(Date.now() - opened, performance.now() - openedTick);
  const programNow = () => ticks ? localNow() + offset : offset;

  const SHAPES = {
    high: "M30 4h40l26 26v40L70 96H30L4 70V30z",
    medium: "M50 6 97 92H3z",
    low: "M50 4a46 46 0 1 0 .1 0z",
    cup: "M14 8h72l-12 84H26z",
    coat: "M8 8h70v30H8zM82 18h12v34H56v12h8v32H42V64h6V44h38V26h-4z",
    timer: "M50 4a46 46 0 1 0 .1 0zM46 20h8v28l20 14-5 7-23-16z",
    ask: "M6 8h88v60H46L24 94V68H6z",
    note: "M8 46h84v8H8z",
  };
  const icon = (name, sign) => {
    const made = svg("svg", { viewBox: "0 0 100 100", "aria-hidden": "true", class: "mark" },
      svg("path", { d: SHAPES[name], fill: sign ? "none" : "currentColor", "fill-rule": "evenodd",
        stroke: "currentColor", "stroke-width": sign ? 7 : 0 }));
    if (sign) {
      made.append(svg("text", { x: 50, y: name === "ask" ? 58 : name === "medium" ? 84 : 72,
        "text-anchor": "middle", "font-size": name === "ask" ? 52 : 62, "font-weight": 900,
        fill: "currentColor" }, sign));
    }
    return made;
  };
  const SIGNS = { high: "!", medium: "!", low: "i" };

  // A cup that fills. Heights are shares of what the cup holds.
  const cup = (label, { filled = 0, waiting = 0, low = null, high = null, marks = [],
    hatched = false }) => {
    const TOP = 12, BOTTOM = 150, FULL = BOTTOM - TOP;
    const y = (share) => BOTTOM - FULL * Math.min(Math.max(share, 0), 1);
    const outline = "M10 6 26 154H94L110 6";
    const made = svg("svg", { viewBox: "0 0 150 162", role: "img", "aria-label": label,
      class: "mark" });
    made.append(svg("defs", {},
      svg("clipPath", { id: "inside" }, svg("path", { d: outline + "z" })),
      svg("pattern", { id: "hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse",
        patternTransform: "rotate(45)" },
      svg("rect", { width: 5, height: 9, fill: "currentColor" }))));
    const inside = svg("g", { "clip-path": "url(#inside)" });
    const level = (share, paint) => svg("rect", { x: 0, y: y(share), width: 120,
      height: 162 - y(share), fill: paint });
    const liquid = level(filled, hatched ? "url(#hatch)" : "currentColor");
    inside.append(liquid);
    if (waiting > filled) {
      inside.append(svg("rect", { x: 0, y: y(waiting), width: 120, height: y(filled) - y(waiting),
        fill: "none", stroke: "currentColor", "stroke-width": 4, "stroke-dasharray": "7 5" }));
    }
    made.append(inside);
    if (low !== null) {
      // The band that is good, beside the cup: a bracket around it.
      const top = y(high) - 3, bottom = y(low) + 3;
      made.append(svg("path", { d: `M118 ${top}h16V${bottom}h-16`, fill: "none",
        stroke: "currentColor", "stroke-width": 5 }),
      svg("path", { d: `M8 ${(top + bottom) / 2}h104`, stroke: "currentColor", "stroke-width": 3,
        "stroke-dasharray": "6 6" }));
    }
    for (const mark of marks) {
      made.append(svg("path", { d: `M112 ${y(mark)}h22`, stroke: "currentColor",
        "stroke-width": 4 }));
    }
    made.append(svg("path", { d: outline, fill: "none", stroke: "currentColor",
      "stroke-width": 6, "stroke-linejoin": "round", "stroke-linecap": "round" }));
    return { made, fill: (share) => {
      liquid.setAttribute("y", y(share));
      liquid.setAttribute("height", 162 - y(share));
    } };
  };

  // A length of time, always rounded down: what is left is never shown longer than it is.
  const length = (ms) => {
    const two = (n) => String(n).padStart(2, "0");
    if (ms >= 2 * DAY) return [String(Math.floor(ms / DAY)), "days"];
    if (ms >= 90 * MINUTE) {
      return [`${Math.floor(ms / HOUR)}:${two(Math.floor(ms % HOUR / MINUTE))}`, "h"];
    }
    if (ms >= 10 * MINUTE) return [String(Math.floor(ms / MINUTE)), "min"];
    return [`${Math.floor(ms / MINUTE)}:${two(Math.floor(ms % MINUTE / 1000))}`, "min"];
  };
  const leftText = (endsAt, now) => {
    const left = endsAt - now;
    const [value, unit] = length(Math.abs(left));
    return left > 0 ? `${value} ${unit} left` : `over for ${value} ${unit}`;
  };
  const say = (words) => words.length
    ? `say ${words.map((word) => word.includes(" ") ? word : `“${word}”`).join(" or ")}` : "";

  // --- text that fills its box ----------------------------------------------------------------

  const fit = (box) => {
    const inner = box.firstElementChild;
    let low = 12, high = Math.max(box.clientHeight * 1.25, 13);
    for (let i = 0; i < 9; i += 1) {
      const middle = (low + high) / 2;
      inner.style.fontSize = `${middle}px`;
      const fits_in = inner.scrollWidth <= box.clientWidth && inner.offsetWidth <= box.clientWidth
        && inner.offsetHeight <= box.clientHeight;
      if (fits_in) low = middle; else high = middle;
    }
    inner.style.fontSize = `${Math.floor(low)}px`;
  };
  const UNBROKEN = /(\d) (?=g\b)/g;
  const big = (isNumber, ...parts) => {
    const box = el("div", isNumber ? "big number" : "big", el("span", "",
      ...parts.map((part) => typeof part === "string" ? part.replace(UNBROKEN, "$1\u00a0") : part)));
    fits.push(box);
    return box;
  };

  // --- panels ---------------------------------------------------------------------------------

  const nameIcon = (panel) => panel.is_cup ? "cup" : panel.is_timer ? "timer" : "coat";

  const mainPanels = {
    AlarmPanel(panel, main) {
      main.dataset.urgency = panel.urgency;
      main.classList.toggle("calls", panel.urgency === "high" && !panel.is_missed);
      const left = el("span", "lead");
      if (panel.ends_at !== null) {
        tickers.push((now) => { left.textContent = leftText(panel.ends_at, now); });
      }
      const missed = panel.is_missed ? "Missed: " : "";
      return [icon(panel.urgency, SIGNS[panel.urgency]), el("h1", "", missed + panel.name),
        big(false, panel.text),
        el("div", "sub", left, panel.key ? el("span", "answers", "say “got it”") : null,
          hasButton && panel.key ? button(panel.key) : null)];
    },
    PourPanel(panel) {
      const target = Number(panel.target_g), poured = Number(panel.poured_g);
      const left = Number(panel.left_g), asked = Number(panel.asked_g || 0);
      const full = Math.max(target, poured, asked, Number(panel.high_g)) * 1.12;
      const label = `${panel.poured_g} of ${panel.target_g} grams`;
      const gauge = cup(label, { filled: poured / full, waiting: asked / full,
        low: Number(panel.low_g) / full, high: Number(panel.high_g) / full });
      const over = left < 0;
      const todo = panel.asked_g ? `${panel.asked_g} g?` : over ? `${panel.left_g.slice(1)} g too much`
        : poured > 0 ? `${panel.left_g} g more` : "to pour";
      const sub = el("div", "sub", el("span", over ? "lead over" : "lead", todo));
      if (poured > 0) sub.append(el("span", "", `${panel.poured_g} g in`));
      sub.append(el("span", "", `good: ${panel.low_g} to ${panel.high_g}`));
      if (panel.scale_text) sub.append(el("span", "", panel.scale_text));
      return [gauge.made, el("h1", "", `${panel.cup}: ${panel.part}`),
        big(true, panel.target_g, el("span", "unit", "g")), sub];
    },
    ClockPanel(panel) {
      const value = document.createTextNode(""), unit = el("span", "unit");
      const box = big(true, value, unit);
      const note = el("span", "lead");
      let mark = icon(nameIcon(panel));
      let fill = () => {};
      if (panel.is_cup && panel.starts_at !== null) {
        const gauge = cup("share of the pot life that is gone",
          { marks: [0.5, 0.75, 0.9], hatched: true });
        mark = gauge.made;
        fill = (now) => gauge.fill(
          (now - panel.starts_at) / Math.max(panel.ends_at - panel.starts_at, 1));
      }
      tickers.push((now) => {
        const left = panel.ends_at - now;
        const [text, name] = length(Math.abs(left));
        const isRefit = value.data.length !== text.length || unit.textContent !== name;
        value.data = text;
        unit.textContent = name;
        note.textContent = left >= 0 ? "left" : panel.is_cup ? "over: do not use the rest" : "over";
        note.classList.toggle("over", left < 0);
        fill(now);
        if (isRefit) fit(box);
      });
      return [mark, el("h1", "", `${panel.name}: ${panel.what}`), box,
        el("div", "sub", note, el("span", "", `until ${panel.ends_text}`))];
    },
    QuestionPanel(panel) {
      return [icon("ask", "?"), el("h1", "", "Asked"),
        big(false, panel.text), el("div", "sub", el("span", "lead answers", say(panel.answers)))];
    },
    NotePanel(panel) {
      return [icon("note"), el("h1", "", panel.text), big(false, panel.title)];
    },
  };

  const row = (urgency, shape, sign, name, value, what) => {
    const made = el("li", "", icon(shape, sign), el("span", "name", name), value,
      el("span", "what", what));
    if (urgency) made.dataset.urgency = urgency;
    return made;
  };
  const restRows = {
    AlarmPanel(panel) {
      const value = el("span", "value");
      if (panel.ends_at !== null) {
        tickers.push((now) => { value.textContent = leftText(panel.ends_at, now); });
      }
      const made = row(panel.urgency, panel.urgency, SIGNS[panel.urgency], panel.name, value,
        panel.text);
      return made;
    },
    PourPanel(panel) {
      return row("", "cup", "", panel.cup, el("span", "value", `${panel.left_g} g more`),
        `${panel.part}: ${panel.poured_g} of ${panel.target_g} g`);
    },
    ClockPanel(panel) {
      const value = el("span", "value");
      tickers.push((now) => {
        const left = panel.ends_at - now;
        value.textContent = left >= 0 ? length(left).join(" ") : leftText(panel.ends_at, now);
      });
      return row("", nameIcon(panel), "", panel.name, value, `${panel.what}, ${panel.ends_text}`);
    },
    NotePanel(panel) {
      return row("", "note", "", panel.title, el("span", "value"), panel.text);
    },
    QuestionPanel(panel) {
      return row("", "ask", "?", panel.text, el("span", "value"), say(panel.answers));
    },
  };

  const button = (key) => {
    const made = el("button", "", pressed === key ? "Sent" : "Got it");
    made.type = "button";
    made.disabled = pressed === key;
    made.addEventListener("click", () => press(key, made));
    return made;
  };
  const press = async (key, made) => {
    pressed = key;
    made.disabled = true;
    made.textContent = "Sent";
    try {
      const answer = await fetch("acknowledge", {
        method: "POST", cache: "no-store", credentials: "omit",
        headers: { Authorization: `Bearer ${token()}`, "Content-Type": "application/json" },
        body: JSON.stringify({ key }),
      });
      if (!answer.ok) throw new Error(String(answer.status));
    } catch {
      pressed = null;
      made.disabled = false;
      made.textContent = "Not sent. Press again";
    }
  };

  // --- the whole board ------------------------------------------------------------------------

  const titleOf = (panel) => panel.kind === "PourPanel" ? `${panel.target_g} g ${panel.part}`
    : panel.kind === "NotePanel" ? panel.title
      : panel.kind === "QuestionPanel" ? panel.text
        : panel.kind === "AlarmPanel" ? `${panel.name}. ${panel.text}`
          : `${panel.name}: ${panel.what}`;

  const draw = () => {
    tickers = [];
    fits = [];
    const main = byId("main"), shown = view.main;
    main.dataset.kind = shown.kind;
    delete main.dataset.urgency;
    main.classList.remove("calls");
    if (pressed !== null && shown.key !== pressed) pressed = null;
    main.replaceChildren(...mainPanels[shown.kind](shown, main));
    const rest = view.rest.map((panel) => restRows[panel.kind](panel));
    const more = el("li", "more");
    byId("rest").replaceChildren(...rest, more);
    document.body.classList.toggle("alone", rest.length === 0);
    byId("asked").hidden = view.asked === null;
    byId("asked").replaceChildren(...(view.asked === null ? [] : [
      el("span", "text", view.asked.text), el("span", "answers", say(view.asked.answers))]));
    byId("product").textContent = view.product;
    byId("unsaved").hidden = view.is_saved;
    const heard = byId("heard");
    heard.classList.toggle("missed", !view.was_understood);
    heard.textContent = view.wake_phrase ? `Asleep: say “${view.wake_phrase}”`
      : !view.heard ? "Nothing heard yet"
        : `${view.heard_at_text}  ${view.was_understood ? "Heard" : "Not understood"}: “${view.heard}”`;
    byId("said").textContent = view.said ? `Said: ${view.said}` : "";
    const title = titleOf(shown);
    document.title = shown.kind === "AlarmPanel" ? `! ${title}` : title;
    const spoken = view.asked === null ? title : `${title}. ${view.asked.text}`;
    if (byId("news").textContent !== spoken) byId("news").textContent = spoken;
    tick();
    arrange();
  };

  // What finds no room is counted; the main thing takes all the room there is.
  const arrange = () => {
    if (view === null) return;
    const list = byId("rest"), rows = [...list.children], more = rows.pop();
    rows.forEach((one) => { one.hidden = false; });
    let left = view.more;
    const tell = () => {
      more.hidden = left === 0;
      more.textContent = `and ${left} more`;
    };
    tell();
    while (rows.length > 1 && list.scrollHeight > list.clientHeight + 1) {
      rows.pop().hidden = true;
      left += 1;
      tell();
    }
    fits.forEach(fit);
  };

  const tick = () => {
    const isStale = localNow() - heardAt > STALE_AFTER_MS;
    document.body.classList.toggle("stale", isStale && view !== null);
    let link = "Live";
    if (view === null) link = "Connecting";
    else if (isStale) link = `No news since ${shownClock}`;
    if (byId("link").textContent !== link) byId("link").textContent = link;
    if (view === null) return;
    byId("clock").textContent = isStale ? "" : view.clock_text;
    const now = programNow();
    tickers.forEach((count) => count(now));
  };

  const note = (title, text) => {
    view = { product: "Handsfree", clock_text: "", main: { kind: "NotePanel", title, text },
      rest: [], more: 0, asked: null, heard: "", heard_at_text: "", was_understood: true, said: "",
      wake_phrase: "", is_saved: true };
    draw();
    byId("heard").textContent = "";
    view = null;
    tick();
  };

  // --- news from the program ------------------------------------------------------------------

  const token = () => location.hash.slice(1);

  const take = (news) => {
    heardAt = localNow() - news.age;
    ticks = news.ticks;
    hasButton = news.button;
    const ahead = news.now - heardAt;
    // News that were long on the way make no clock slower; another run of the program may.
    offset = !ticks ? news.now : isFirst ? ahead : Math.max(offset, ahead);
    isFirst = false;
    if (news.view) {
      view = news.view;
      shownClock = view.clock_text;
      draw();
    }
    tick();
  };

  const listen = async () => {
    const stop = new AbortController();
    const watch = setInterval(() => {
      if (localNow() - Math.max(heardAt, began) > HANGS_AFTER_MS) stop.abort();
    }, 1000);
    const began = localNow();
    isFirst = true;
    try {
      const answer = await fetch("news", {
        headers: { Authorization: `Bearer ${token()}` }, cache: "no-store", credentials: "omit",
        signal: stop.signal,
      });
      if (answer.status === 401) {
        isRefused = true;
        note("Wrong address", "Open the whole address that the program printed when it started");
        return;
      }
      if (!answer.ok) return;
      isRefused = false;
      const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
      let text = "";
      for (;;) {
        const { value, done } = await reader.read();
        if (done) return;
        text += value;
        const parts = text.split("\n\n");
        text = parts.pop();
        for (const part of parts) {
          if (part.startsWith("data: ")) take(JSON.parse(part.slice(6)));
        }
        if (text.length > MOST_TEXT) return;
      }
    } catch {
      // The program has ended or the way to it is broken: tried again, and shown meanwhile.
    } finally {
      clearInterval(watch);
      stop.abort();
    }
  };

  const run = async () => {
    for (let tries = 0; ; tries += 1) {
      const before = heardAt;
      await listen();
      if (heardAt !== before) tries = 0;
      const wait = isRefused ? WRONG_TOKEN_AGAIN_MS
        : AGAIN_AFTER_MS[Math.min(tries, AGAIN_AFTER_MS.length - 1)];
      await new Promise((done) => { setTimeout(done, wait * (0.75 + Math.random() / 2)); });
    }
  };

  // A board that goes dark shows nothing; where the browser may not keep it lit, nothing is lost.
  const keepLit = () => {
    if (document.visibilityState === "visible" && navigator.wakeLock) {
      navigator.wakeLock.request("screen").catch(() => {});
    }
  };

  addEventListener("resize", arrange);
  addEventListener("hashchange", () => location.reload());
  document.addEventListener("visibilitychange", keepLit);
  setInterval(tick, 250);
  note("Connecting", "The board of the job");
  keepLit();
  run();
})();
