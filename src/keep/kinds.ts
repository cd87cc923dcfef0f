import type { Contents, StoreName } from './schema.ts';
import type { SettingName } from './settings.ts';
import { weigh } from './weigh.ts';

/** What is kept, in the words of somebody who wonders what this browser knows. */
export interface Kind {
  id: string;
  name: string;
  says: string;
  stores: StoreName[];
  /** Which of the settings; null for none. */
  settings: SettingName[] | null;
}

export const KINDS: Kind[] = [
  {
    id: 'preferences',
    name: 'Your choices',
    says: 'light, unit, pixel size and focal length, what you told of files',
    stores: [],
    settings: ['preferences', 'told', 'run.numbers', 'run.deeper'],
  },
  {
    id: 'rigs',
    name: 'Rigs',
    says: 'telescope, camera, mount and site as you entered them',
    stores: [],
    settings: ['rigs', 'rig', 'rig.measuring'],
  },
  {
    id: 'frames',
    name: 'Results of frames',
    says: 'what was found in the last frames; their pixels are not kept',
    stores: ['frames'],
    settings: null,
  },
  {
    id: 'runs',
    name: 'Runs',
    says: 'series of frames and the folders they came from',
    stores: ['runs', 'runFrames', 'folders'],
    settings: null,
  },
];

export interface Weighed {
  kind: Kind;
  /** Records, or settings that are set. */
  amount: number;
  bytes: number;
}

/** How much of each kind there is; kinds of which there is nothing are left out. */
export function weighKinds(contents: Contents): Weighed[] {
  return KINDS.map((kind) => {
    const values = contents.flatMap(({ store, keys, values }) =>
      kind.stores.includes(store)
        ? values
        : store === 'settings'
          ? values.filter((_, i) => kind.settings?.includes(keys[i] as SettingName))
          : [],
    );
    const amount = contents
      .filter(({ store }) => store === kind.stores[0])
      .reduce((sum, { values }) => sum + values.length, 0);
    return { kind, amount: kind.settings ? values.length : amount, bytes: weigh(values) };
  }).filter(({ bytes }) => bytes > 0);
}
