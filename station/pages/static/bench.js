// The operator's page: keeps the board up to date, catches scans wherever the focus is, sends what is asked.
"use strict";
const board = document.getElementById("board");
const field = document.getElementById("field");
const notice = document.getElementById("notice");
const panel = document.getElementById("panel");
const say = document.getElementById("say");
const QUIET_MS = 3000; // the station gives a sign of life each second
let refusals = Number(board.dataset.refusals);
let heard = performance.now();
let began = 0;
let sending = 0;

function connected(yes) {
  document.body.classList.toggle("lost", !yes);
  document.getElementById("lost").hidden = yes;
  if (yes) heard = performance.now();
}

// Refused aloud: eyes are on the unit, not on the screen.
function beep() {
  try {
    const sound = new AudioContext();
    const tone = sound.createOscillator();
    tone.frequency.value = 330;
    tone.connect(sound.destination);
    tone.start();
    tone.stop(sound.currentTime + 0.35);
    tone.onended = () => sound.close();
  } catch {
    // A machine without sound: the words and the shape are there all the same.
  }
}

let source = null;

function listen() {
  if (source) source.close();
  source = new EventSource("/events?after=" + encodeURIComponent(board.dataset.after));
  source.addEventListener("board", (event) => {
    const told = JSON.parse(event.data);
    board.innerHTML = told.html;
    board.dataset.after = event.lastEventId;
    if (say.textContent !== told.say) say.textContent = told.say;
    document.getElementById("confirm").hidden = !told.confirm;
    panel.hidden = !told.panel;
    for (const each of panel.querySelectorAll("input[name=shown]")) each.value = told.at;
    document.getElementById("study").hidden = !told.study;
    if (told.refusals && told.refusals !== refusals) beep();
    refusals = told.refusals;
    notice.textContent = "";
    connected(true);
  });
  source.addEventListener("alive", () => connected(true));
  source.addEventListener("signed-out", () => {
    // A badge that is just being scanned ends the sign-in before it: the answer says who it is now.
    if (!sending) location.assign("/");
  });
  source.onopen = () => connected(true);
  source.onerror = () => connected(false);
}

async function send(path, fields) {
  sending += 1;
  try {
    const reply = await fetch(path, {
      method: "POST",
      body: new URLSearchParams(fields),
      headers: { accept: "application/json" },
    });
    const told = await reply.json();
    notice.textContent = told.words;
    if (!reply.ok) beep();
    if (told.go) location.assign(told.go);
    if (told.who) {
      // Signed in without loading the page anew: a scan that follows at once must not get lost.
      document.querySelector(".who").innerHTML = told.who;
      board.dataset.after = "";
      listen();
    }
  } catch {
    notice.textContent = "The station can't be reached: nothing was done.";
    connected(false);
  } finally {
    sending -= 1;
  }
}

document.getElementById("scan").addEventListener("submit", (event) => {
  event.preventDefault();
  const text = field.value;
  field.value = "";
  // A scanner types faster than this a character, a person slower.
  const perCharacter = (performance.now() - began) / Math.max(1, text.length);
  if (!text && !panel.hidden) send("/panel/place", new FormData(panel.querySelector("form"))); // the place says which unit it is
  if (text) send("/scan", { scan: text, typed: perCharacter > Number(field.dataset.scannerMs) ? "1" : "0" });
});

for (const form of document.querySelectorAll("form.act")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(new URL(form.action).pathname, new FormData(form));
    field.focus();
  });
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    event.preventDefault();
    send("/stop", {});
  }
  // Keys that no scanner types. One that is not shown does nothing, and the browser's own meaning is kept.
  const keyed = document.querySelector(`form.act[data-key="${CSS.escape(event.key)}"]`);
  if (keyed && !keyed.closest("[hidden]") && !event.ctrlKey && !event.metaKey && !event.altKey) {
    event.preventDefault();
    if (!event.repeat) send(new URL(keyed.action).pathname, new FormData(keyed));
    return;
  }
  if (event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.matches("input, textarea, select") && event.target !== field) return;
  if (event.target.matches("button, a") && event.key === " ") return;
  field.focus(); // a scan while nothing has the focus lands in the field
  if (!field.value) began = performance.now();
});

setInterval(() => {
  if (performance.now() - heard > QUIET_MS) connected(false);
}, 500);
listen();
