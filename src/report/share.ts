import type { HeaderNames, Pointing } from '../../workers/protocol/frame.ts';
import { plain } from '../format/quantity.ts';

/** One thing that says who, where or what: it goes into a report only when it is ticked. */
export interface PrivateFact {
  key: string;
  name: string;
  text: string;
}

export interface Told {
  fileName: string;
  startTime: string | null;
  pointing: Pointing | null;
  names: HeaderNames | null;
}

/** What the file says beyond optics and exposure, as far as it says anything. */
export function privateFacts({ fileName, startTime, pointing, names }: Told): PrivateFact[] {
  const degrees = (a: number | null | undefined, b: number | null | undefined) =>
    a === null || a === undefined || b === null || b === undefined
      ? null
      : `${plain(a, 3)}°, ${plain(b, 3)}°`;
  const rows: [string, string, string | null | undefined][] = [
    ['file', 'Name of the file', fileName],
    ['time', 'Start of the exposure (UTC)', startTime],
    ['object', 'Object', names?.object],
    [
      'sky',
      'Right ascension and declination',
      degrees(pointing?.rightAscensionDeg, pointing?.declinationDeg),
    ],
    ['observer', 'Observer', names?.observer],
    ['telescope', 'Telescope', names?.telescope],
    ['camera', 'Camera', names?.camera],
    ['site', 'Site', names?.site],
    ['place', 'Latitude and longitude', degrees(pointing?.latitudeDeg, pointing?.longitudeDeg)],
  ];
  return rows.flatMap(([key, name, text]) => (text ? [{ key, name, text }] : []));
}
