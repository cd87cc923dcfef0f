import { expect, test } from 'vitest';
import { reportHtml } from '../../src/report/html.ts';
import { escapeMarkup, html, Markup } from '../../src/report/markup.ts';
import { privateFacts } from '../../src/report/share.ts';
import type { ReportSubject } from '../../src/report/subject.ts';
import { Header } from '../../workers/decode/fits/header.ts';
import { namesIn } from '../../workers/decode/fits/names.ts';
import { reportOf } from '../src/reports.ts';

const HOSTILE = `<img src=x onerror="alert('1')">&`;

test('what is set into markup is escaped, markup itself and lists of it are not', () => {
  // The five characters by number, as HTML's "escaping a string" and XML 1.0 (section 2.4) ask.
  expect(escapeMarkup(HOSTILE)).toBe('&#60;img src=x onerror=&#34;alert(&#39;1&#39;)&#34;&#62;&#38;');
  expect(html`<p title="${HOSTILE}">${[HOSTILE, html`<b>${1}</b>`]}${null}${false}</p>`.text).toBe(
    `<p title="${escapeMarkup(HOSTILE)}">${escapeMarkup(HOSTILE)}<b>1</b></p>`,
  );
});

test('names are read as written, the first header that has them first', () => {
  const card = (keyword: string, value: string) => `${keyword.padEnd(8)}= '${value}'`.padEnd(80);
  const own = new Header([card('OBJECT', 'a field'), card('OBSERVER', '  ')]);
  const primary = new Header([
    card('OBJECT', 'another'),
    card('TELESCOP', 'small one'),
    card('SITENAME', 'x'.repeat(60)),
  ]);
  expect(namesIn([own, primary])).toEqual({
    object: 'a field',
    observer: null,
    telescope: 'small one',
    camera: null,
    site: 'x'.repeat(60),
  });
});

test('a report holds every word escaped, asks for nothing, and tells of who and where only what was handed in', () => {
  const report = {
    ...reportOf((u, v) => ({ fwhmPx: 3 + u * u + v * v, sigma: 0.05, e1: 0.1, e2: 0, eSigma: 0.01 })),
    file: `${HOSTILE}.fits`,
    warnings: [`The header calls this frame "${HOSTILE}"`],
    verdict: {
      family: 'optics' as const,
      cause: 'coma' as const,
      confidence: 0.9,
      headline: `Almost surely ${HOSTILE}`,
      next: [{ do: HOSTILE, when: 'now' as const, needs: HOSTILE, cornerFwhmLeftPx: 2 }],
      decider: { experiment: 'next-frame' as const, do: HOSTILE, between: [] },
    },
  };
  const facts = privateFacts({
    fileName: report.file,
    startTime: null,
    pointing: null,
    names: { object: HOSTILE, observer: 'Somebody', telescope: null, camera: null, site: null },
  });
  expect(facts.map(({ key }) => key)).toEqual(['file', 'object', 'observer']);
  const subject: ReportSubject = {
    report,
    meanStars: [],
    unit: 'px',
    scale: { arcsecPerPx: null, umPerPx: null },
    told: facts.filter(({ key }) => key === 'object'),
    beside: [HOSTILE],
  };
  const text = reportHtml(subject, new Markup('<svg></svg>'));
  expect(text).not.toContain('<img');
  expect(text.split(escapeMarkup(HOSTILE)).length - 1).toBe(7);
  expect(text).not.toMatch(/<script|<link|<iframe|\bhref=|\bsrc=(?!x onerror)|url\(|@import/i);
  expect(text).not.toContain('Somebody');
  expect(text).not.toContain('.fits');
  expect(text).toContain('Content-Security-Policy');
});
