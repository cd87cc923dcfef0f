import { CARD_BYTES, readCard, type Card } from './card.ts';

/**
 * The cards of one header. A keyword that occurs more than once has the value of its FIRST card, as in the common
 * libraries (the standard leaves it open); `repeated` tells which keywords contradict themselves.
 */
export class Header {
  private readonly cards = new Map<string, Card>();
  private readonly contradictions = new Set<string>();
  /** HISTORY, COMMENT and blank cards, as "KEYWORD text", in order. */
  readonly commentary: string[] = [];

  /** @param lines the 80-character cards up to, not including, END. */
  constructor(lines: string[]) {
    let last: Card | null = null;
    for (const line of lines) {
      const card = readCard(line);
      if (card.keyword === 'CONTINUE' && continues(last)) {
        last.value = last.text = last.value.slice(0, -1) + String(card.value ?? '');
        continue;
      }
      last = card;
      if (card.keyword === '' || card.keyword === 'COMMENT' || card.keyword === 'HISTORY') {
        this.commentary.push(`${card.keyword} ${card.comment}`.trim());
        continue;
      }
      const first = this.cards.get(card.keyword);
      if (!first) this.cards.set(card.keyword, card);
      else if (first.value !== card.value) this.contradictions.add(card.keyword);
    }
  }

  has(keyword: string): boolean {
    return this.cards.has(keyword);
  }

  /** Whether `keyword` occurs again with another value. */
  contradicts(keyword: string): boolean {
    return this.contradictions.has(keyword);
  }

  card(keyword: string): Card | null {
    return this.cards.get(keyword) ?? null;
  }

  /** The value as a number; a quoted number counts. NaN when it is written but no number; null when it is absent. */
  number(keyword: string): number | null {
    const card = this.cards.get(keyword);
    if (!card || card.value === null || card.value === '') return null;
    if (typeof card.value === 'number') return card.value;
    return typeof card.value === 'string' ? Number(card.value.replace(/d/i, 'E')) : NaN;
  }

  /** The value as an exact whole number; null when it is absent or not whole. */
  integer(keyword: string): bigint | null {
    const text = this.cards.get(keyword)?.text.replace(/\.0*$/, '') ?? '';
    return /^[+-]?\d+$/.test(text) ? BigInt(text.replace('+', '')) : null;
  }

  /** The value as text without blanks around it; null when it is absent or empty. */
  string(keyword: string): string | null {
    const value = this.cards.get(keyword)?.value;
    if (value === undefined || value === null) return null;
    return String(value).trim() || null;
  }

  isTrue(keyword: string): boolean {
    return this.cards.get(keyword)?.value === true;
  }
}

const continues = (card: Card | null): card is Card & { value: string } =>
  typeof card?.value === 'string' && card.value.endsWith('&');

/** The first of `headers` that has the keyword, else null. */
const owner = (headers: Header[], keyword: string): Header | null =>
  headers.find((header) => header.has(keyword)) ?? null;

/** A keyword looked for in several headers, the most specific first; see Header for what the value is. */
export const numberIn = (headers: Header[], keyword: string): number | null =>
  owner(headers, keyword)?.number(keyword) ?? null;
export const stringIn = (headers: Header[], keyword: string): string | null =>
  owner(headers, keyword)?.string(keyword) ?? null;
export const cardIn = (headers: Header[], keyword: string): Card | null =>
  owner(headers, keyword)?.card(keyword) ?? null;

const LATIN1 = new TextDecoder('latin1');

/** The 80-character cards in some bytes of a header. */
export function cardLines(bytes: Uint8Array): string[] {
  const text = LATIN1.decode(bytes);
  const lines: string[] = [];
  for (let at = 0; at < text.length; at += CARD_BYTES) lines.push(text.slice(at, at + CARD_BYTES));
  return lines;
}
