/* What waits to be sent, and sending it. Each item has its own id, so that sending it twice is harmless. */
import { drop, find, keep, list, moveToQueue } from "./field_store.js";

// Long enough for a book to be lost and brought back from a copy, short enough for a phone that fills up.
const KEPT_DAYS = 30;
const DAY_MS = 24 * 60 * 60 * 1000;
const ANSWERED_ONCE = new Set([400, 403, 404, 409, 412, 413, 422]);

/* States of an item: waiting, sent, refused. A refused one is kept and shown until a person decides. Photos are
 * items of their own that wait for what they hang on. */
export async function enqueue({ author, title, url, body, draftKey = null, photos = [] }) {
  // What has no id of its own, such as the answer to a hand-over, is harmless to send twice all the same.
  const id = body.id || crypto.randomUUID();
  const madeAt = new Date().toISOString();
  const item = { id, author, title, url, body, method: "POST", state: "waiting", word: "", madeAt };
  await moveToQueue(draftKey, [item, ...photos.map((photo, number) => makePhoto(photo, number, item))]);
}

function makePhoto(photo, number, report) {
  const id = crypto.randomUUID();
  const name = encodeURIComponent(photo.name || `photo ${number + 1}`);
  const url = `/api/v1/documents/${id}?of=field-report&on=${report.id}&name=${name}`;
  return { ...report, id, url, title: `${report.title}: ${photo.name}`, body: photo, method: "PUT", after: report.id };
}

export async function listQueue() {
  const items = await list("queue");
  // What hangs on another has its moment and comes after it.
  const order = (item) => `${item.madeAt}${item.after ? 1 : 0}`;
  return items.sort((left, right) => (order(left) < order(right) ? -1 : 1));
}

/* The reports that wait, as they will be sent, each with whose it is. */
export async function listWaitingReports() {
  const items = await listQueue();
  const reports = items.filter((item) => item.state === "waiting" && item.url === "/api/v1/field-reports");
  return reports.map((item) => ({ ...item.body, author: item.author }));
}

/* Who is signed in: a name, "" for nobody, or null where there is no signal. */
export async function askWho() {
  try {
    const answer = await fetch("/field/who", { cache: "no-store", credentials: "same-origin" });
    return answer.ok ? await answer.json() : null;
  } catch (error) {
    return null;
  }
}

/* Sends what waits for this person, oldest first. One page at a time sends; others leave it to that one. */
export async function sendWaiting(who) {
  const run = async () => {
    await followBook(who);
    await sendEach(who);
  };
  if (!navigator.locks) {
    return run();
  }
  return navigator.locks.request("spanstock-field-send", { ifAvailable: true }, (lock) => (lock ? run() : undefined));
}

/* Where the book was brought back from a copy, what this person sent may not be in it any more, and is sent again:
 * each item has its id, so what is there already is not posted twice. What is long done is kept no more. */
async function followBook(who) {
  const known = await find("facts", `book ${who.person}`);
  const isOther = known !== undefined && known !== who.book;
  for (const item of await listQueue()) {
    if (item.state !== "sent" || item.author !== who.person) {
      continue;
    }
    if (Date.now() - Date.parse(item.doneAt) > KEPT_DAYS * DAY_MS) {
      await drop("queue", item.id);
    } else if (isOther && item.body !== null) {
      await keep("queue", item.id, { ...item, state: "waiting" });
    }
  }
  await keep("facts", `book ${who.person}`, who.book);
}

async function sendEach(who) {
  for (const waiting of await listQueue()) {
    if (waiting.state !== "waiting" || waiting.author !== who.person || !(await isFree(waiting))) {
      continue;
    }
    const answer = await post(waiting, who.token);
    if (answer === null || !(await settle(waiting, answer))) {
      return;
    }
  }
}

/* Whether what it hangs on has arrived. */
async function isFree(item) {
  const before = item.after ? await find("queue", item.after) : null;
  return !item.after || (before !== undefined && before !== null && before.state === "sent");
}

async function post(item, token) {
  const isFile = item.body instanceof Blob;
  try {
    return await fetch(item.url, {
      method: item.method,
      credentials: "same-origin",
      redirect: "error",
      headers: { "Content-Type": isFile ? "application/octet-stream" : "application/json", "X-CSRFToken": token },
      body: isFile ? item.body : JSON.stringify(item.body),
    });
  } catch (error) {
    return null;
  }
}

/* Notes the answer; false where there is no use in sending the next one now. */
async function settle(item, answer) {
  if (answer.ok) {
    const told = await answer.json().catch(() => ({}));
    await note(item, "sent", "", told.findings || []);
    return true;
  }
  const problem = await answer.json().catch(() => ({}));
  const isSignedOut = answer.status === 401 || ["not_authenticated", "authentication_failed"].includes(problem.code);
  if (isSignedOut || !ANSWERED_ONCE.has(answer.status) || !problem.code) {
    return false;
  }
  const faults = (problem.errors || []).map(sayFault);
  await note(item, "refused", faults.length ? faults.join(" ") : problem.detail, []);
  return true;
}

/* A fault as a person reads it: the field, what stood in it, and what is wrong with that. */
function sayFault(fault) {
  const names = (fault.pointer || "").split("/").filter((part) => part && !/^\d+$/.test(part));
  const field = names.length ? `${names[names.length - 1].replaceAll("_", " ")}: ` : "";
  return `${field}${fault.value ? `${fault.value} ` : ""}${fault.detail}.`;
}

async function note(item, state, word, findings) {
  const now = await find("queue", item.id);
  // A photo that has arrived is not kept twice on a phone that fills up.
  const body = state === "sent" && item.body instanceof Blob ? null : now.body;
  await keep("queue", item.id, { ...now, body, state, word, findings, doneAt: new Date().toISOString() });
}

/* A person takes a refused item back to be sent again as it is. */
export async function sendAgain(id) {
  const item = await find("queue", id);
  await keep("queue", id, { ...item, state: "waiting", word: "" });
}
