/**
 * Data on the phone: the last known state, and actions that are not sent yet. In IndexedDB where the browser allows it; in some
 * private windows it does not, and then the data lasts as long as the page.
 */
export interface LocalStore {
  get<T>(key: string): Promise<T | undefined>;
  put(key: string, value: unknown): Promise<void>;
  remove(key: string): Promise<void>;
  keys(): Promise<readonly string[]>;
  clear(): Promise<void>;
}

export function memoryStore(): LocalStore {
  const entries = new Map<string, unknown>();
  return {
    get: <T>(key: string) => Promise.resolve(entries.get(key) as T | undefined),
    put: async (key, value) => void entries.set(key, value),
    remove: async (key) => void entries.delete(key),
    keys: async () => [...entries.keys()],
    clear: async () => entries.clear(),
  };
}

const objectStoreName = "entries";

export async function openLocalStore(): Promise<LocalStore> {
  try {
    return databaseStore(await openDatabase());
  } catch (cause) {
    console.warn("Nothing can be stored on this phone beyond this page.", cause);
    return memoryStore();
  }
}

function openDatabase(): Promise<IDBDatabase> {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open("pieward", 2);
    opening.onupgradeneeded = () => opening.result.createObjectStore(objectStoreName);
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => reject(new Error("IndexedDB did not open", { cause: opening.error }));
    opening.onblocked = () => reject(new Error("IndexedDB is held by an older page"));
  });
}

function databaseStore(database: IDBDatabase): LocalStore {
  const run = <T>(mode: IDBTransactionMode, request: (entries: IDBObjectStore) => IDBRequest<T>): Promise<T> =>
    new Promise((resolve, reject) => {
      const transaction = database.transaction(objectStoreName, mode);
      const made = request(transaction.objectStore(objectStoreName));
      // Resolved on `complete`, not on the request's success: only then does it survive a sudden stop of the phone.
      transaction.oncomplete = () => resolve(made.result);
      transaction.onabort = () => reject(new Error("IndexedDB refused", { cause: transaction.error }));
    });
  return {
    get: <T>(key: string) => run<T | undefined>("readonly", (entries) => entries.get(key)),
    put: async (key, value) => void (await run("readwrite", (entries) => entries.put(value, key))),
    remove: async (key) => void (await run("readwrite", (entries) => entries.delete(key))),
    keys: async () => (await run("readonly", (entries) => entries.getAllKeys())).map(String),
    clear: async () => void (await run("readwrite", (entries) => entries.clear())),
  };
}
