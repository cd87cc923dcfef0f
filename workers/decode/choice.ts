import type { PictureChoice } from '../protocol/reading.ts';
import { DecodeFault } from './fault.ts';

type Unit = NonNullable<PictureChoice['unit']>;

/** A picture was chosen that the file does not hold. Numbers are told from 1, as on the page and in the shell. */
export function noSuchPicture(name: string, unit: number, there: Unit[]): DecodeFault {
  const numbers = there.filter((each) => typeof each === 'number').map((each) => each + 1);
  return new DecodeFault(
    'no-image',
    `${name} has no picture number ${unit + 1}. It has ${numbers.length > 1 ? 'pictures' : 'one'} at ${numbers.join(', ')}.`,
  );
}

/** For formats with one picture in each file: throws a DecodeFault where another was chosen. */
export function onlyPicture({ unit, plane }: PictureChoice, name: string): void {
  const other = typeof unit === 'number' && unit > 0 ? unit : plane;
  if (other) throw noSuchPicture(name, other, [0]);
}
