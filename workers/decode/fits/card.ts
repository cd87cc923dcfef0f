/**
 * One 80-character card of a FITS header (FITS Standard 4.0, section 4), read leniently: what a camera program may
 * have written is taken for what it plainly means.
 */
export interface Card {
  keyword: string;
  /** A string, number or logical; null when the value is undefined or the card is commentary. */
  value: string | number | boolean | null;
  /** The value as written, for integers too long for a number. */
  text: string;
  comment: string;
}

export const CARD_BYTES = 80;

/** Reads one card from its 80 characters. */
export function readCard(line: string): Card {
  const keyword = line.slice(0, 8).trim().toUpperCase();
  if (keyword === 'HIERARCH' && line.indexOf('=') > 0) return hierarchCard(line);
  // The standard wants "= " in columns 9 and 10; a value right behind the equals sign is read as well.
  if (line[8] === '=' && keyword !== '' && keyword !== 'COMMENT' && keyword !== 'HISTORY')
    return { keyword, ...readValue(line.slice(9)) };
  if (keyword === 'CONTINUE') return { keyword, ...readValue(line.slice(8)) };
  return { keyword, value: null, text: '', comment: line.slice(8).trimEnd() };
}

/** "HIERARCH ESO DET NAME = 'x'": the words before the equals sign are the keyword. */
function hierarchCard(line: string): Card {
  const equals = line.indexOf('=');
  const keyword = line.slice(9, equals).trim().replace(/\s+/g, ' ').toUpperCase();
  return { keyword, ...readValue(line.slice(equals + 1)) };
}

function readValue(field: string): Omit<Card, 'keyword'> {
  const start = field.search(/\S/);
  if (start < 0) return { value: null, text: '', comment: '' };
  if (field[start] === "'") return readString(field, start + 1);
  const slash = field.indexOf('/');
  const text = (slash < 0 ? field : field.slice(0, slash)).trim();
  const comment = slash < 0 ? '' : field.slice(slash + 1).trim();
  return { value: plainValue(text), text, comment };
}

/** A quoted string from behind its first quote; two quotes in a row are one, trailing blanks do not count. */
function readString(field: string, start: number): Omit<Card, 'keyword'> {
  let value = '';
  let at = start;
  for (; at < field.length; at++) {
    if (field[at] === "'") {
      if (field[at + 1] !== "'") break;
      at++;
    }
    value += field[at];
  }
  const rest = field.slice(at + 1);
  const slash = rest.indexOf('/');
  const trimmed = value.trimEnd();
  return { value: trimmed, text: trimmed, comment: slash < 0 ? '' : rest.slice(slash + 1).trim() };
}

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)([ED][+-]?\d+)?$/i;

function plainValue(text: string): Card['value'] {
  if (text === '') return null;
  if (text === 'T') return true;
  if (text === 'F') return false;
  if (NUMBER.test(text)) return Number(text.replace(/d/i, 'E'));
  return text; // neither quoted nor a number: what is written there
}
