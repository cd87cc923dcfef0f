import { shallowRef, toRaw } from 'vue';
import { isFull, keep as pageKeep, settled, type Keep } from './keep.ts';
import { MOST, RECORD_FORMAT, type Numbered, type ShelfName, type Shelves } from './schema.ts';

/** A record as it is handed in. */
export type Fresh<T extends Numbered> = Omit<T, keyof Numbered>;

/**
 * The records of one kind. Every call works whatever the browser allows: what cannot be kept gives null, what cannot
 * be read is not there, and the reason is in the keep's `trouble`.
 */
export class Shelf<Name extends ShelfName> {
  /** How many of the oldest were dropped to make room since the page was opened. */
  readonly dropped = shallowRef(0);

  constructor(
    private readonly name: Name,
    private readonly keep: Keep = pageKeep,
    private readonly most: number = MOST[name],
  ) {}

  /** Keeps a new record and gives its number. The oldest beyond the shelf's size is dropped. */
  async add(fresh: Fresh<Shelves[Name]>): Promise<number | null> {
    const record = { ...toRaw(fresh), format: RECORD_FORMAT, keptAtMs: Date.now() };
    return this.write(record as Shelves[Name]);
  }

  /** Puts a changed record in the place of the one with its number, unless that was forgotten meanwhile. */
  async update(record: Shelves[Name]): Promise<boolean> {
    const there = await this.keep.within((database) => database.getKey(this.name, record.id));
    return there !== null && there !== undefined && (await this.write(toRaw(record))) !== null;
  }

  /** Brings a forgotten record back as it was. */
  async restore(record: Shelves[Name]): Promise<boolean> {
    return (await this.write(toRaw(record))) !== null;
  }

  async get(id: number): Promise<Shelves[Name] | null> {
    const record = await this.keep.within((database) => database.get(this.name, id));
    return record && readable(record) ? (record as Shelves[Name]) : null;
  }

  /** The records, newest first. */
  async newest(most = this.most): Promise<Shelves[Name][]> {
    const found = await this.keep.within(async (database) => {
      const records: Shelves[Name][] = [];
      let cursor = await database.transaction(this.name).store.openCursor(null, 'prev');
      for (; cursor && records.length < most; cursor = await cursor.continue())
        if (readable(cursor.value)) records.push(cursor.value as Shelves[Name]);
      return records;
    });
    return found ?? [];
  }

  async forget(...ids: number[]): Promise<boolean> {
    const done = await this.keep.within(async (database) => {
      const change = database.transaction(this.name, 'readwrite');
      await settled(
        change,
        ids.map((id) => change.store.delete(id)),
      );
      this.keep.relieved();
      return true;
    });
    return done ?? false;
  }

  private write(record: Shelves[Name]): Promise<number | null> {
    return this.keep.within(async (database) => {
      const put = async () => {
        const change = database.transaction(this.name, 'readwrite');
        const [id] = await settled(change, [change.store.put(record as never)]);
        return id as number;
      };
      let id: number;
      try {
        id = await put();
      } catch (error) {
        if (!isFull(error) || (await this.dropBeyond(Math.floor(this.most / 2))) === 0) throw error;
        id = await put();
      }
      await this.dropBeyond(this.most);
      this.keep.relieved();
      return id;
    });
  }

  /** Drops the oldest until `most` are left; gives how many. */
  private async dropBeyond(most: number): Promise<number> {
    const dropped = await this.keep.within(async (database) => {
      const keys = await database.getAllKeys(this.name);
      const old = keys.slice(0, Math.max(0, keys.length - most));
      const change = database.transaction(this.name, 'readwrite');
      await settled(
        change,
        old.map((id) => change.store.delete(id)),
      );
      return old.length;
    });
    this.dropped.value += dropped ?? 0;
    return dropped ?? 0;
  }
}

const readable = (record: Numbered): boolean => record.format === RECORD_FORMAT;
