// What the phone keeps until the book has it: IndexedDB, one store of entries by their own ids, one of what was last known.

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("dryside-field", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("entries", { keyPath: "client_id" });
      asked.result.createObjectStore("known");
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function within(store, mode, work) {
  const base = await open();
  return new Promise((resolve, reject) => {
    // "strict" waits for the disk: a frame that is shown as logged is really kept.
    const change = base.transaction(store, mode, { durability: mode === "readwrite" ? "strict" : "default" });
    const asked = work(change.objectStore(store));
    change.oncomplete = () => resolve(asked?.result);
    change.onerror = change.onabort = () => reject(change.error);
  });
}

export const keep = (entry) => within("entries", "readwrite", (store) => store.put(entry));
export const entries = () => within("entries", "readonly", (store) => store.getAll());
export const drop = (id) => within("entries", "readwrite", (store) => store.delete(id));
export const remember = (name, value) => within("known", "readwrite", (store) => store.put(value, name));
export const recall = (name) => within("known", "readonly", (store) => store.get(name));
