/* What the phone keeps: days, drafts, ticks and everything that waits to be sent. Nothing is held in memory only. */
const NAME = "spanstock-field";
const STORES = ["packs", "drafts", "ticks", "queue", "facts"];
let opened = null;

function open() {
  if (opened === null) {
    opened = new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = () => STORES.forEach((name) => request.result.createObjectStore(name));
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  }
  return opened;
}

/* Resolves when the browser has written it down, not when it has taken it: a killed browser loses nothing. */
async function inStore(name, mode, action) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(name, mode, mode === "readwrite" ? { durability: "strict" } : undefined);
    const request = action(transaction.objectStore(name));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
}

export const keep = (store, key, value) => inStore(store, "readwrite", (rows) => rows.put(value, key));
export const find = (store, key) => inStore(store, "readonly", (rows) => rows.get(key));
export const list = (store) => inStore(store, "readonly", (rows) => rows.getAll());
export const drop = (store, key) => inStore(store, "readwrite", (rows) => rows.delete(key));

/* Two things at once or neither: a report that is queued is no draft any more. */
export async function moveToQueue(draftKey, items) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(["drafts", "queue"], "readwrite", { durability: "strict" });
    items.forEach((item) => transaction.objectStore("queue").put(item, item.id));
    if (draftKey !== null) {
      transaction.objectStore("drafts").delete(draftKey);
    }
    transaction.oncomplete = () => resolve();
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
}

/* Asks the browser not to throw our rows away when the phone runs full. */
export async function askToStay() {
  if (navigator.storage && navigator.storage.persist) {
    await navigator.storage.persist();
  }
}
