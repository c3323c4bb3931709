// What this tablet holds until the shop computer has it: the writes of visits, oldest first, in IndexedDB.
//
// IndexedDB with strict durability outlives a killed browser; localStorage does not. The queue belongs to the address of
// the page, and all its tabs share it.

/**
 * One write on its way: the form's action and fields as they were sent, `key` being the name it is stored under.
 * `reason` is why the shop computer rejected it, "" while it is waiting.
 * @typedef {{seq?: number, key: string, url: string, fields: [string, string][], at: number, reason: string}} Write
 */

const STORE = "writes";

/** @type {Promise<IDBDatabase> | undefined} */
let opened;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("evenbore", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "seq", autoIncrement: true });
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      asked.result.onclose = () => (opened = undefined);
      resolve(asked.result);
    };
  });
  opened.catch(() => (opened = undefined));
  return opened;
}

/**
 * Does `work` in one transaction and resolves with what it returned once that is on the disk.
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore, all: Write[]) => T} work receives every write held, oldest first
 * @returns {Promise<T>}
 */
async function transact(mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    /** @type {T} */
    let result;
    const transaction = database.transaction(STORE, mode, { durability: "strict" });
    const store = transaction.objectStore(STORE);
    const all = store.getAll();
    all.onsuccess = () => (result = work(store, all.result));
    transaction.oncomplete = () => resolve(result);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
}

/** Every write held, oldest first. @returns {Promise<Write[]>} */
export function all() {
  return transact("readonly", (_, writes) => writes);
}

/**
 * Holds a write. What was rejected under the same key is replaced: this is the person's second try at it. A second tap
 * on the same form adds nothing.
 * @param {Write} write
 */
export function add(write) {
  return transact("readwrite", (store, writes) => {
    const same = writes.filter((one) => one.key === write.key);
    for (const one of same) if (one.reason !== "") store.delete(/** @type {number} */ (one.seq));
    if (same.every((one) => one.reason !== "")) store.add(write);
  });
}

/** Removes a write: the shop computer has it, or the person discarded it. @param {Write} write */
export function drop(write) {
  return transact("readwrite", (store) => void store.delete(/** @type {number} */ (write.seq)));
}

/**
 * Notes why a write was rejected; "" makes it wait again. One that another tab has removed stays removed.
 * @param {Write} write
 * @param {string} reason
 */
export function refuse(write, reason) {
  return transact("readwrite", (store, writes) => {
    if (writes.some((one) => one.seq === write.seq)) store.put({ ...write, reason });
  });
}
