/* The field page: opens from what the phone keeps, and sends what waits whenever there is a signal. */
import { askToStay, drop, find, keep } from "./field_store.js";
import { askWho, enqueue, listQueue, sendAgain, sendWaiting } from "./field_queue.js";
import { Report } from "./field_report.js";
import { readLoad, showSheet } from "./field_sheet.js";
import { showTruck } from "./field_truck.js";
import { languages, make, showDay, showTime, word } from "./field_words.js";

const EVERY_MS = 60_000;
let pack = null;
let report = null;
let busy = false;
let isAskedAgain = false;

async function start() {
  registerWorker();
  askToStay();
  pack = await findPack();
  if (goToLanguage()) {
    return;
  }
  showDays();
  await showOutbox();
  document.getElementById("send-now").addEventListener("click", sync);
  window.addEventListener("online", sync);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && sync());
  window.setInterval(sync, EVERY_MS);
  await sync();
}

function registerWorker() {
  if (!window.isSecureContext || !("serviceWorker" in navigator)) {
    document.getElementById("warnings").append(make("p", word("no_https"), "notice alarm"));
    return;
  }
  navigator.serviceWorker.register("/field/worker.js", { scope: "/field/" });
}

async function findPack() {
  const person = await find("facts", "person");
  return person ? (await find("packs", person)) || null : null;
}

/* The page is kept in every language; goes to that of the person, of the browser where nobody is known yet.
 * True where another page is on its way. */
function goToLanguage() {
  const asked = pack ? [pack.language] : navigator.languages.map((code) => code.split("-")[0].toLowerCase());
  const wanted = asked.find((code) => languages.includes(code)) || languages[0];
  if (wanted === document.documentElement.lang) {
    return false;
  }
  const address = wanted === languages[0] ? "/field/" : `/field/${wanted}/`;
  window.location.replace(address + window.location.search);
  return true;
}

/* Send what waits, then fetch the sheets anew; each part says what came of it. */
async function sync() {
  if (busy) {
    isAskedAgain = true;
    return;
  }
  busy = true;
  try {
    const who = await askWho();
    await keep("facts", "lastTry", new Date().toISOString());
    if (who !== null && who.person) {
      await sendWaiting(who);
      await refresh(who.person);
    }
    await showOutbox(who);
  } finally {
    busy = false;
  }
  // What was asked for meanwhile is not forgotten: it may have been queued after the last was sent.
  if (isAskedAgain) {
    isAskedAgain = false;
    await sync();
  }
}

async function refresh(person) {
  const answer = await fetch(`/field/pack${window.location.search}`, { cache: "no-store", redirect: "error" }).catch(() => null);
  if (answer === null || !answer.ok) {
    return;
  }
  const fresh = { ...(await answer.json()), fetchedAt: new Date().toISOString() };
  await keep("packs", person, fresh);
  await keep("facts", "person", person);
  pack = fresh;
  // What is being entered is not torn away; it is shown anew when it has been sent.
  if (report === null || !(await find("drafts", report.key))) {
    if (goToLanguage()) {
      return;
    }
    showDays(report && report.day);
  }
}

function showDays(shown = null) {
  const place = document.getElementById("days");
  place.replaceChildren();
  document.getElementById("person").textContent = pack ? pack.person : "";
  if (pack === null || pack.days.length === 0) {
    place.append(make("p", word(pack === null ? "no_days" : "nothing_planned"), "empty"));
    return;
  }
  const today = pack.as_of;
  const isShown = (day) => shown !== null && day.date === shown.date && day.crew.code === shown.crew.code;
  const next = pack.days.find((day) => day.date >= today) || pack.days[pack.days.length - 1];
  const nearest = pack.days.find(isShown) || next;
  const bar = make("div", "", "chips days");
  for (const day of pack.days) {
    const isOneCrew = pack.days.every((other) => other.crew.code === day.crew.code);
    const button = make("button", isOneCrew ? showDay(day.date) : `${showDay(day.date)} · ${day.crew.name}`);
    button.type = "button";
    button.setAttribute("aria-pressed", String(day === nearest));
    button.addEventListener("click", () => {
      bar.querySelectorAll("button").forEach((other) => other.setAttribute("aria-pressed", String(other === button)));
      showDayView(day);
    });
    bar.append(button);
  }
  place.append(bar, make("p", word("as_of", { time: showTime(pack.fetchedAt) }), "quiet"));
  showDayView(nearest);
}

async function showDayView(day) {
  const view = document.getElementById("day-view").content.firstElementChild.cloneNode(true);
  view.querySelector('[data-slot="title"]').textContent = `${day.crew.name}, ${showDay(day.date)}`;
  view.querySelector('[data-slot="about"]').textContent = `${day.vehicle} · ${day.warehouse}`;
  for (const tab of view.querySelectorAll("[data-tab]")) {
    tab.addEventListener("click", () => chooseTab(view, tab.dataset.tab));
  }
  await showSheet(view, day, pack.system);
  const tab = report !== null && report.day.date === day.date ? report.tab() : null;
  const made = new Report(view, day, pack);
  await made.show();
  report = made;
  showTruck(view, day, pack, queue);
  view.querySelector('[data-action="report"]').addEventListener("click", () => queueReport(day));
  view.querySelector('[data-action="load"]').addEventListener("click", () => queueLoad(view, day));
  document.getElementById("day").replaceChildren(view);
  chooseTab(view, tab || (day.date <= pack.as_of ? "report" : "sheet"));
}

function chooseTab(view, name) {
  view.querySelectorAll("[data-tab]").forEach((tab) => tab.setAttribute("aria-selected", String(tab.dataset.tab === name)));
  view.querySelectorAll("[data-panel]").forEach((panel) => (panel.hidden = panel.dataset.panel !== name));
}

/* Anything else that is told from a truck: kept first, then sent. */
async function queue(title, url, body) {
  await enqueue({ author: pack.person, title, url, body });
  await showOutbox();
  await sync();
}

async function queueReport(day) {
  const body = report.body();
  if (body === null) {
    window.alert(word("nothing_told"));
    return;
  }
  const unread = report.unread();
  if (unread.length && !window.confirm(word("unread", { labels: unread.join(", ") }))) {
    return;
  }
  await report.saving;
  await enqueue({
    author: pack.person,
    title: word("report_of", { crew: day.crew.name, date: showDay(day.date) }),
    url: "/api/v1/field-reports",
    body,
    draftKey: report.key,
    photos: report.photos,
  });
  await showDayView(day);
  await showOutbox();
  window.scrollTo(0, 0);
  await sync();
}

async function queueLoad(view, day) {
  const goods = readLoad(view, day);
  if (goods.containers.length + goods.lines.length === 0) {
    return;
  }
  const body = { id: crypto.randomUUID(), occurred_at: new Date().toISOString(), as_report: true, ...goods };
  await enqueue({
    author: pack.person,
    title: word("load_of", { crew: day.crew.name, date: showDay(day.date) }),
    url: `/api/v1/pull-sheets/${encodeURIComponent(day.crew.code)}/${day.date}/loads`,
    body,
  });
  await drop("ticks", `${day.crew.code} ${day.date}`);
  await showDayView(day);
  await showOutbox();
  await sync();
}

/* What is sent, what waits and for whom, what was not taken and why. */
async function showOutbox(who) {
  const items = await listQueue();
  const count = (state) => items.filter((item) => item.state === state).length;
  const parts = ["waiting", "refused", "sent"].filter(count).map((state) => word(state, { n: count(state) }));
  const state = [parts.length ? `${parts.join(", ")}.` : word("nothing")];
  const lastTry = await find("facts", "lastTry");
  if (who === null) {
    state.push(word("no_signal"));
  } else if (who && !who.person) {
    state.push(word("signed_out"));
  } else if (who) {
    const others = items.filter((item) => item.state === "waiting" && item.author !== who.person);
    if (others.length) {
      state.push(word("other_person", { n: others.length, who: others[0].author }));
    }
  }
  const place = document.getElementById("state");
  place.textContent = state.join(" ");
  if (who && !who.person) {
    const link = make("a", word("sign_in"));
    link.href = "/sign-in?next=/field/";
    place.append(" ", link);
  } else if (count("waiting") && lastTry) {
    place.append(make("span", ` ${word("last_try", { time: showTime(lastTry) })}`, "quiet"));
  }
  document.getElementById("outbox").replaceChildren(...items.slice().reverse().map(showItem));
}

function showItem(item) {
  const part = make("div", "", `sending ${item.state}`);
  part.append(make("b", item.title), make("span", `${word(item.state, { n: "" }).trim()} · ${showTime(item.madeAt)} · ${item.author}`, "quiet"));
  if (item.word) {
    part.append(make("p", item.word, "alarm"));
  }
  (item.findings || []).forEach((finding) => part.append(...showStored(finding)));
  if (item.state === "refused") {
    const again = make("button", word("try_again"));
    again.addEventListener("click", async () => {
      await sendAgain(item.id);
      await sync();
    });
    const away = make("button", word("throw_away"), "plain");
    away.addEventListener("click", async () => {
      if (window.confirm(word("sure"))) {
        await drop("queue", item.id);
        await showOutbox();
      }
    });
    part.append(again, away);
  }
  return part;
}

/* A stored finding is in the language of the book, as everybody reads it; its rule's words are the reader's. */
function showStored(finding) {
  const sentence = make("p", finding.sentence || "", "warn");
  const rule = pack && pack.rules.rules.find((known) => known.code === finding.rule);
  if (!rule || document.documentElement.lang === languages[0]) {
    return [sentence];
  }
  sentence.lang = languages[0];
  return [make("p", [rule.name, rule.caution].filter(Boolean).join(". "), "warn"), sentence];
}

start();
