import type { HeaderNames } from '../../protocol/frame.ts';
import { stringIn, type Header } from './header.ts';

/** Longer names are no names; what is shown stays readable. */
const MOST_CHARACTERS = 120;

/** Names as written (OBJECT, OBSERVER, TELESCOP, INSTRUME of the FITS standard 4.0, section 4.4.2; SITENAME is a habit). */
export function namesIn(headers: Header[]): HeaderNames {
  const name = (keyword: string) => stringIn(headers, keyword)?.slice(0, MOST_CHARACTERS) ?? null;
  return {
    object: name('OBJECT'),
    observer: name('OBSERVER'),
    telescope: name('TELESCOP'),
    camera: name('INSTRUME'),
    site: name('SITENAME'),
  };
}
