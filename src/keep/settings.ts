import { keep as pageKeep, settled, type Keep } from './keep.ts';

/** Names of what is remembered, and where versions before the database kept it in local storage; null: nowhere. */
const SETTINGS = {
  preferences: 'cornerwise.preferences',
  rigs: 'cornerwise.rigs',
  rig: 'cornerwise.rig',
  'rig.measuring': 'cornerwise.rig.measuring',
  told: null,
  site: null,
  'run.numbers': null,
  'run.deeper': null,
} as const;
export type SettingName = keyof typeof SETTINGS;

/**
 * Small things with a name each. They are read once before the page appears, so that stores may ask without waiting;
 * what is told later is written behind their back. If they could not be read nothing is written either: what lies
 * there unseen must not be overwritten by a page that began with nothing.
 */
export class Settings {
  private known = new Map<string, unknown>();
  private wasRead = false;

  constructor(private readonly keep: Keep = pageKeep) {}

  async read(): Promise<void> {
    const found = await this.keep.within(async (database) => {
      const names = await database.getAllKeys('settings');
      const values = await database.getAll('settings');
      return names.map((name, i) => [name, values[i]] as const);
    });
    if (!found) return;
    this.wasRead = true;
    this.known = new Map(found);
    await this.moveIn();
  }

  get<T>(name: SettingName): T | null {
    return (this.known.get(name) as T | undefined) ?? null;
  }

  /** Null takes it out. Values must be plain: text, numbers, objects of those. */
  set(name: SettingName, value: unknown): void {
    if (value === null) this.known.delete(name);
    else this.known.set(name, value);
    if (this.wasRead) void this.write(name, value);
  }

  /** Takes settings out and gives them, to be set again by whoever changes their mind. */
  take(names: readonly SettingName[]): [SettingName, unknown][] {
    const taken = names.filter((name) => this.known.has(name)).map((name) => [name, this.get(name)] as const);
    for (const [name] of taken) this.set(name, null);
    return taken.map(([name, value]) => [name, value]);
  }

  private write(name: SettingName, value: unknown): Promise<unknown> {
    return this.keep.within<unknown>((database) => {
      const change = database.transaction('settings', 'readwrite');
      const asked: Promise<unknown> =
        value === null ? change.store.delete(name) : change.store.put(value, name);
      return settled(change, [asked]);
    });
  }

  /** Takes over what an earlier version kept in local storage, and clears it there once it is safe here. */
  private async moveIn(): Promise<void> {
    for (const [name, oldKey] of Object.entries(SETTINGS) as [SettingName, string | null][]) {
      if (oldKey === null) continue;
      try {
        const text = localStorage.getItem(oldKey);
        if (text === null) continue;
        if (!this.known.has(name)) {
          const value: unknown = name === 'preferences' ? JSON.parse(text) : text;
          this.known.set(name, value);
          if ((await this.write(name, value)) === null) continue;
        }
        localStorage.removeItem(oldKey);
      } catch {
        // Local storage is forbidden, or what lies there is damaged: nothing to move.
      }
    }
  }
}

export const settings = new Settings();
