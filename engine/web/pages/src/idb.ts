// The browser's database, one request at a time. Stores: keys (CryptoKeys), kept (sealed values by name).

type StoreName = 'keys' | 'kept';
let opening: Promise<IDBDatabase> | undefined;

function database(): Promise<IDBDatabase> {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open('chartferry', 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore('keys');
      asked.result.createObjectStore('kept');
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opening;
}

// Resolves after the transaction is complete, so that what was written is kept. Errors: QuotaExceededError when the
// device is full, ConstraintError for add() of a key that is there.
export async function request<T>(
  name: StoreName,
  mode: IDBTransactionMode,
  ask: (store: IDBObjectStore) => IDBRequest<T>,
): Promise<T> {
  const db = await database();
  return new Promise((resolve, reject) => {
    const transaction = db.transaction(name, mode, { durability: 'strict' });
    const asked = ask(transaction.objectStore(name));
    transaction.oncomplete = () => resolve(asked.result);
    transaction.onabort = () => reject(transaction.error ?? asked.error);
    transaction.onerror = () => reject(transaction.error ?? asked.error);
  });
}
