import { openDB, type IDBPDatabase } from 'idb';
import { shallowRef } from 'vue';
import {
  DATABASE,
  DATABASE_VERSION,
  MOST,
  type Contents,
  type Schema,
  type ShelfName,
  type StoreName,
} from './schema.ts';

/**
 * Why nothing can be kept. The page never depends on it.
 * refused: storage is switched off (private windows); full: no room; busy: another window holds the database.
 */
export type Trouble = 'refused' | 'full' | 'busy';

/** Some browsers never answer when a database is held elsewhere. */
const PATIENCE_MS = 2500;

/** The database of this browser for this page: opened once, never in the way. */
export class Keep {
  readonly trouble = shallowRef<Trouble | null>(null);
  /** Counts what was forgotten or brought back behind the backs of those who hold a list of records. */
  readonly changed = shallowRef(0);
  private opened: Promise<IDBPDatabase<Schema>> | null = null;
  private over = false;

  constructor(private readonly patienceMs = PATIENCE_MS) {}

  /** What `work` gives, or null when this browser does not let it: the reason is then in `trouble`. */
  async within<T>(work: (database: IDBPDatabase<Schema>) => Promise<T>): Promise<T | null> {
    if (this.over) return null;
    try {
      const result = await work(await this.open());
      if (this.trouble.value !== 'full') this.trouble.value = null;
      return result;
    } catch (error) {
      this.trouble.value = troubleOf(error);
      return null;
    }
  }

  /** Room was made, or something could be written after all. */
  relieved(): void {
    if (this.trouble.value === 'full') this.trouble.value = null;
  }

  /** What lies in the stores that are named, or in all; null where it cannot be read. */
  async contents(named?: StoreName[]): Promise<Contents | null> {
    return this.within(async (database) => {
      const stores = named ?? Array.from(database.objectStoreNames);
      const look = database.transaction(stores, 'readonly');
      return Promise.all(
        stores.map(async (name) => {
          const store = look.objectStore(name);
          const [keys, values] = await Promise.all([store.getAllKeys(), store.getAll()]);
          return { store: name, keys, values };
        }),
      );
    });
  }

  /** Empties the stores that are named. */
  async empty(stores: StoreName[]): Promise<boolean> {
    const done = await this.within(async (database) => {
      const change = database.transaction(stores, 'readwrite');
      await settled(
        change,
        stores.map((name) => change.objectStore(name).clear()),
      );
      this.relieved();
      return true;
    });
    this.changed.value++;
    return done ?? false;
  }

  /** Empties every store. From then on nothing is kept until the page is opened anew: nothing in memory comes back. */
  async forgetEverything(): Promise<boolean> {
    const all = await this.within(async (database) => Array.from(database.objectStoreNames));
    const done = all !== null && (await this.empty(all));
    if (done) this.over = true;
    return done;
  }

  /** Lays back what was forgotten; things are kept again. */
  async bringBack(contents: Contents): Promise<boolean> {
    this.over = false;
    const done = await this.within(async (database) => {
      const change = database.transaction(
        contents.map(({ store }) => store),
        'readwrite',
      );
      const puts = contents.flatMap(({ store, keys, values }) =>
        values.map((value, i) => {
          const place = change.objectStore(store);
          return place.put(value as never, place.keyPath === null ? (keys[i] as never) : undefined);
        }),
      );
      await settled(change, puts);
      return true;
    });
    this.changed.value++;
    return done ?? false;
  }

  private async open(): Promise<IDBPDatabase<Schema>> {
    this.opened ??= openDB<Schema>(DATABASE, DATABASE_VERSION, {
      upgrade,
      // Another window wants to change the database: let go, and open it again when it is needed.
      blocking: (_from, _to, event) => {
        (event.target as IDBDatabase).close();
        this.opened = null;
      },
      terminated: () => (this.opened = null),
    });
    this.opened.catch(() => (this.opened = null));
    let timer: ReturnType<typeof setTimeout>;
    const tooLong = new Promise<never>((_, reject) => {
      timer = setTimeout(() => reject(new DOMException('no answer', 'TimeoutError')), this.patienceMs);
    });
    return Promise.race([this.opened, tooLong]).finally(() => clearTimeout(timer));
  }
}

function upgrade(database: IDBPDatabase<Schema>): void {
  database.createObjectStore('settings');
  for (const name of Object.keys(MOST) as ShelfName[]) {
    const store = database.createObjectStore(name, { keyPath: 'id', autoIncrement: true });
    if (name === 'runFrames') store.createIndex('runId' as never, 'runId');
  }
}

/**
 * Waits until everything asked of a change is done, and gives its answers. Told that nothing more comes, the browser
 * completes the change even if the page is closed or loaded anew in the next moment.
 */
export async function settled<T>(
  change: { commit(): void; done: Promise<void> },
  asked: readonly Promise<T>[],
): Promise<T[]> {
  change.commit();
  const [answers] = await Promise.all([Promise.all(asked), change.done]);
  return answers;
}

export const isFull = (error: unknown): boolean =>
  error instanceof DOMException && error.name === 'QuotaExceededError';

function troubleOf(error: unknown): Trouble {
  if (isFull(error)) return 'full';
  const name = error instanceof DOMException ? error.name : '';
  return name === 'TimeoutError' || name === 'VersionError' ? 'busy' : 'refused';
}

export const TROUBLE_WORDS: Record<Trouble, string> = {
  refused:
    'This browser keeps nothing for this page: a private window, or storage is switched off. Everything works, but rig, settings and earlier frames are forgotten when the page is closed. Save to a file what you need.',
  full: 'There is no room left to keep more in this browser. Everything works, but what is new is forgotten when the page is closed. Forget earlier frames, or free some space on the disk.',
  busy: 'Another window of this page holds what is kept and does not let go. Everything works, but nothing new is kept here. Close the other window, then open the page again.',
};

/** The one of the page. */
export const keep = new Keep();
