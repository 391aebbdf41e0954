"use strict";
// A screen of a running watch: paints the rows that it is sent, and sends back keys and its size. It puts texts into the
// document as text, keeps nothing, and never looks alive when nothing comes any more: the watch's clock in the first row
// alone makes a message every second.

const SILENT_MS = 5000;   // so long without a word, and what is shown is old
const GIVE_UP_MS = 12000; // so long, and the connection is made anew
const AGAIN_MS = [250, 500, 1000, 2000, 4000];
const LOOKS = [[1, "bold"], [2, "dim"], [4, "reverse"], [8, "alarm"], [16, "warning"], [32, "caution"]];
const WIDE = 64;
const LEAST_PX = 10.5, LIKED_PX = 15; // sizes of letters
const LIKED_COLUMNS = 80, NARROW_COLUMNS = 52, LIKED_ROWS = 24, LEAST_ROWS = 12, LINE = 1.18;
const NAMED = {
  ArrowUp: "up", ArrowDown: "down", ArrowLeft: "left", ArrowRight: "right", Enter: "enter", Escape: "escape",
  Tab: "tab", Backspace: "backspace", Home: "home", End: "end", PageUp: "pageup", PageDown: "pagedown",
};
const EDGE_PX = 4;
const GONE = 4001, LEFT = 4002, FULL = 1013;

const state = document.getElementById("state");
const screen_ = document.getElementById("screen");
const keys = document.getElementById("keys");
const typed = document.getElementById("typed");
const letters = document.getElementById("letters");
const note = document.getElementById("note");
const spoken = document.getElementById("spoken");

let socket = null, triedAt = 0, heardAt = null, lostAt = null, why = "", tries = 0, timer = 0;
let isOut = false, isGone = false, asked = "", title = "strandwatch";

// ---- painting

function classOf(look) {
  return LOOKS.filter(([bit]) => look & bit).map(([, name]) => name).join(" ");
}

// Letters of which every system's fixed-width font is sure stay together; any other gets a cell of its own.
function fill(span, text, isWide) {
  let plain = "";
  const flush = () => { if (plain) { span.append(plain); plain = ""; } };
  for (const letter of text) {
    if (!isWide && letter < "\u0250") { plain += letter; continue; }
    if (/\p{M}/u.test(letter)) {
      if (plain || !span.lastElementChild) plain += letter; else span.lastElementChild.append(letter);
      continue;
    }
    flush();
    const cell = document.createElement(isWide ? "u" : "b");
    cell.textContent = letter;
    span.append(cell);
  }
  flush();
}

function paintRow(div, parts) {
  const spans = [];
  for (let at = 0; at < parts.length; at += 2) {
    const span = document.createElement("span");
    const look = parts[at + 1];
    span.className = classOf(look);
    fill(span, parts[at], Boolean(look & WIDE));
    spans.push(span);
  }
  div.replaceChildren(...spans);
}

function paintButtons(shown) {
  keys.replaceChildren(...shown.map(([key, name, words]) => {
    const button = document.createElement("button");
    const kbd = document.createElement("kbd");
    kbd.textContent = name;
    button.append(kbd, words ? ` ${words}` : "");
    button.addEventListener("click", () => {
      if (key === "/") { typed.hidden = false; letters.focus(); } // at once: a phone opens its keyboard for a touch only
      press(key);
    });
    button.type = "button";
    return button;
  }));
}

function take(message) {
  if (message.size) {
    screen_.replaceChildren(...Array.from({ length: message.size[1] }, () => document.createElement("div")));
    document.documentElement.dataset.size = message.size.join("x");
  }
  for (const [y, ...parts] of message.rows || []) paintRow(screen_.children[y], parts);
  if (message.keys) paintButtons(message.keys);
  if (message.note !== undefined) {
    note.textContent = message.note;
    note.hidden = !message.note;
  }
  if (message.typing !== undefined) {
    typed.hidden = !message.typing;
    letters.value = "";
  }
  if (message.title !== undefined) {
    title = message.title;
    spoken.textContent = title;
  }
}

// ---- speaking

function say(what) {
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify(what));
}

function press(key) {
  say({ say: "key", key });
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing || event.target === letters) return;
  if (event.target.closest("button") && (event.key === "Enter" || event.key === " ")) return;
  const key = event.key.length === 1 ? event.key : NAMED[event.key];
  if (!key || (key === "tab" && !document.hasFocus())) return;
  event.preventDefault();
  press(key === "tab" && event.shiftKey ? "shift+tab" : key);
});

letters.addEventListener("keydown", (event) => {
  const key = NAMED[event.key];
  if (!key || event.isComposing) return;
  event.preventDefault();
  press(key);
});

letters.addEventListener("input", () => {
  for (const letter of letters.value) press(letter);
  letters.value = "";
});

// ---- size: as many columns as can be read, and all rows that fit

function letterWidth() {
  const probe = document.createElement("span");
  probe.textContent = "0".repeat(100);
  probe.style.cssText = "position:absolute;visibility:hidden;white-space:pre;font-size:100px";
  document.body.append(probe);
  const share = probe.getBoundingClientRect().width / 10000;
  probe.remove();
  return share;
}

function letterSize(width, height, share) {
  const forColumns = width / (LIKED_COLUMNS * share), forRows = height / (LIKED_ROWS * LINE);
  if (forColumns < LEAST_PX) return Math.max(LEAST_PX, Math.min(LIKED_PX, width / (NARROW_COLUMNS * share)));
  return Math.max(LEAST_PX, Math.min(LIKED_PX, forColumns, forRows));
}

function fit() {
  const share = letterWidth();
  const width = screen_.clientWidth - 2 * EDGE_PX;
  const height = window.innerHeight - document.getElementById("foot").offsetHeight - (state.hidden ? 0 : state.offsetHeight);
  const size = Math.floor(letterSize(width, height, share) * 4) / 4, line = Math.round(size * LINE);
  screen_.style.fontSize = `${size}px`;
  screen_.style.setProperty("--line", `${line}px`); // whole pixels, so that all rows are alike
  const columns = Math.floor((width - 1) / (size * share));
  const rows = Math.max(LEAST_ROWS, Math.floor(height / line));
  const room = { say: "size", columns, rows };
  if (JSON.stringify(room) !== asked) {
    asked = JSON.stringify(room);
    say(room);
  }
}

let resizing = 0;
function fitSoon() {
  clearTimeout(resizing);
  resizing = setTimeout(fit, 100);
}
window.addEventListener("resize", fitSoon);
new ResizeObserver(fitSoon).observe(document.getElementById("foot"));

// ---- the connection, and what is told of it

function clock(date) {
  return date.toTimeString().slice(0, 8);
}

function since(ms) {
  const s = Math.floor(ms / 1000);
  return s < 60 ? `${s} s` : s < 3600 ? `${Math.floor(s / 60)} min ${s % 60} s` : `${Math.floor(s / 3600)} h ${Math.floor(s / 60) % 60} min`;
}

function tell() {
  const now = Date.now();
  const isSilent = heardAt !== null && now - heardAt > SILENT_MS;
  if (isSilent && lostAt === null) { lostAt = heardAt; why = why || "nothing comes from the watch"; }
  const isLost = lostAt !== null;
  screen_.classList.toggle("old", isLost);
  keys.inert = isLost;
  document.title = isLost ? `LOST ${title}` : title;
  const was = state.hidden;
  state.hidden = heardAt !== null && !isLost;
  if (isLost) {
    const at = `${clock(new Date(lostAt))} (${since(now - lostAt)} ago)`;
    state.textContent = isOut ? why
      : `${isGone ? "NO WATCH since" : "CONNECTION LOST at"} ${at}: ${why}. What stands below is of then; trying again`;
  } else if (heardAt === null) {
    state.textContent = isOut ? why : `connecting${why ? `: ${why}` : ""}`;
  }
  if (was !== state.hidden) fit();
}

function lose(reason) {
  if (socket) {
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
    socket = null;
  }
  why = reason;
  if (heardAt !== null && lostAt === null) lostAt = heardAt;
  clearTimeout(timer);
  if (!isOut) timer = setTimeout(connect, AGAIN_MS[Math.min(tries++, AGAIN_MS.length - 1)]);
  tell();
}

// Why a websocket was refused is not told to a page; the page itself is answered in the same way, and says it.
async function askWhy() {
  try {
    const answer = await fetch("./?again", { cache: "no-store" });
    if (answer.status === 401) {
      isOut = true;
      lose("THIS PAGE IS NOT LET IN ANY MORE, and shows nothing new: open the address with the token that was given at"
        + " the start of the watch that runs now");
    }
  } catch { /* nobody answers: the connection is lost, and that is told already */ }
}

function connect() {
  clearTimeout(timer);
  if (socket) return;
  let isOpen = false;
  triedAt = Date.now();
  socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${location.pathname}live`);
  socket.onopen = () => {
    isOpen = true;
    asked = "";
    fit();
  };
  socket.onmessage = (event) => {
    const message = JSON.parse(event.data);
    heardAt = Date.now();
    lostAt = null;
    why = "";
    isGone = false;
    tries = 0;
    take(message);
    tell();
  };
  socket.onclose = (event) => {
    socket = null;
    if (event.code === LEFT) { isOut = true; lose("YOU LEFT THIS SCREEN; the watch goes on. Load the page anew to look again"); return; }
    isGone = event.code === GONE;
    const told = isGone || event.code === FULL || event.code === 1011 ? event.reason : "";
    lose(told || (heardAt === null ? "nobody answers yet" : "the program that served this page is gone or out of reach"));
    if (!isOpen) askWhy();
  };
}

function look() {
  if (socket && !isOut && Date.now() - Math.max(triedAt, heardAt || 0) > GIVE_UP_MS) lose("nothing comes from the watch");
  tell();
}

setInterval(look, 1000);
for (const name of ["online", "pageshow"]) window.addEventListener(name, () => { look(); if (!isOut) connect(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) { look(); if (!isOut) connect(); } });
fit();
connect();
