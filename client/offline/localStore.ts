/**
 * What the phone itself keeps: the last known state, and acts that wait for the line. IndexedDB where the browser lets
 * us; some private windows don't, and then it lasts as long as the page.
 */
export interface LocalStore {
  get<T>(key: string): Promise<T | undefined>;
  put(key: string, value: unknown): Promise<void>;
  remove(key: string): Promise<void>;
  keys(): Promise<readonly string[]>;
  clear(): Promise<void>;
}

export function memoryStore(): LocalStore {
  const shelf = new Map<string, unknown>();
  return {
    get: <T>(key: string) => Promise.resolve(shelf.get(key) as T | undefined),
    put: async (key, value) => void shelf.set(key, value),
    remove: async (key) => void shelf.delete(key),
    keys: async () => [...shelf.keys()],
    clear: async () => shelf.clear(),
  };
}

const objectStoreName = "kept";

export async function openLocalStore(): Promise<LocalStore> {
  try {
    return databaseStore(await openDatabase());
  } catch (cause) {
    console.warn("Nothing can be kept on this phone past this page.", cause);
    return memoryStore();
  }
}

function openDatabase(): Promise<IDBDatabase> {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open("pieward", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore(objectStoreName);
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => reject(new Error("IndexedDB did not open", { cause: opening.error }));
    opening.onblocked = () => reject(new Error("IndexedDB is held by an older page"));
  });
}

function databaseStore(database: IDBDatabase): LocalStore {
  const run = <T>(mode: IDBTransactionMode, act: (shelf: IDBObjectStore) => IDBRequest<T>): Promise<T> =>
    new Promise((resolve, reject) => {
      const transaction = database.transaction(objectStoreName, mode);
      const request = act(transaction.objectStore(objectStoreName));
      // Resolved on `complete`, not on the request's success: only then would it survive the phone's sudden sleep.
      transaction.oncomplete = () => resolve(request.result);
      transaction.onabort = () => reject(new Error("IndexedDB refused", { cause: transaction.error }));
    });
  return {
    get: <T>(key: string) => run<T | undefined>("readonly", (shelf) => shelf.get(key)),
    put: async (key, value) => void (await run("readwrite", (shelf) => shelf.put(value, key))),
    remove: async (key) => void (await run("readwrite", (shelf) => shelf.delete(key))),
    keys: async () => (await run("readonly", (shelf) => shelf.getAllKeys())).map(String),
    clear: async () => void (await run("readwrite", (shelf) => shelf.clear())),
  };
}
