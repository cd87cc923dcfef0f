/** Text that is markup already; everything else is escaped where it is set in. */
export class Markup {
  constructor(readonly text: string) {}
}

type Part = string | number | Markup | null | false | readonly Part[];

/** Markup from a template: what is set in is text, and so escaped, unless it is Markup itself. Null and false are nothing. */
export function html(strings: TemplateStringsArray, ...parts: Part[]): Markup {
  return new Markup(strings.reduce((sum, piece, i) => sum + render(parts[i - 1]) + piece));
}

function render(part: Part): string {
  if (part === null || part === false) return '';
  if (part instanceof Markup) return part.text;
  if (Array.isArray(part)) return part.map(render).join('');
  return escapeMarkup(String(part));
}

/** The five characters that mean something in HTML and XML, in text as in quoted attributes. */
export const escapeMarkup = (text: string): string =>
  text.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`);
