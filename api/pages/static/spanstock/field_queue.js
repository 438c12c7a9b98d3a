/* What waits to be sent, and sending it. Each item has its own id, so that sending it twice is harmless. */
import { find, keep, list, moveToQueue } from "./field_store.js";

const ANSWERED_ONCE = new Set([400, 403, 404, 409, 412, 413, 422]);

/* States of an item: waiting, sent, refused. A refused one is kept and shown until a person decides. */
export async function enqueue({ author, title, url, body, draftKey = null }) {
  // What has no id of its own, such as the answer to a hand-over, is harmless to send twice all the same.
  const id = body.id || crypto.randomUUID();
  const item = { id, author, title, url, body, state: "waiting", word: "", madeAt: new Date().toISOString() };
  await moveToQueue(draftKey, item);
  return item;
}

export async function listQueue() {
  const items = await list("queue");
  return items.sort((left, right) => (left.madeAt < right.madeAt ? -1 : 1));
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
  const run = () => sendEach(who);
  if (!navigator.locks) {
    return run();
  }
  return navigator.locks.request("spanstock-field-send", { ifAvailable: true }, (lock) => (lock ? run() : undefined));
}

async function sendEach(who) {
  for (const waiting of await listQueue()) {
    if (waiting.state !== "waiting" || waiting.author !== who.person) {
      continue;
    }
    const answer = await post(waiting, who.token);
    if (answer === null || !(await settle(waiting, answer))) {
      return;
    }
  }
}

async function post(item, token) {
  try {
    return await fetch(item.url, {
      method: "POST",
      credentials: "same-origin",
      redirect: "error",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token },
      body: JSON.stringify(item.body),
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
  const faults = (problem.errors || []).map((fault) => `${fault.value ? fault.value + " " : ""}${fault.detail}`);
  await note(item, "refused", [problem.detail, ...faults].join(" "), []);
  return true;
}

async function note(item, state, word, findings) {
  const now = await find("queue", item.id);
  await keep("queue", item.id, { ...now, state, word, findings, doneAt: new Date().toISOString() });
}

/* A person takes a refused item back to be sent again as it is. */
export async function sendAgain(id) {
  const item = await find("queue", id);
  await keep("queue", id, { ...item, state: "waiting", word: "" });
}
