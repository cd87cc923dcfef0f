import type { Estimate, Region } from '../../workers/protocol/report.ts';
import {
  angleWithError,
  count,
  lengthWithError,
  NO_VALUE,
  plain,
  retold,
  shortLength,
  withError,
} from '../format/quantity.ts';
import { placeName, WHEN } from '../format/words.ts';
import { findings, partRows } from '../story/blur-parts.ts';
import { compare } from '../story/comparison.ts';
import { describe } from '../story/sentence.ts';
import { html, type Markup } from './markup.ts';
import { REPORT_STYLE } from './style.ts';
import type { ReportSubject } from './subject.ts';

/**
 * One file that holds everything: no script, nothing that it asks for (its own policy forbids both), every text from
 * outside escaped. `plate` is the drawing of the average stars.
 */
export function reportHtml(subject: ReportSubject, plate: Markup): string {
  const { report } = subject;
  const headline = headlineOf(subject);
  return html`<!doctype html>
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <meta
          http-equiv="Content-Security-Policy"
          content="default-src 'none'; style-src 'unsafe-inline'; img-src data:"
        />
        <meta name="referrer" content="no-referrer" />
        <title>Why the stars are not round</title>
        ${REPORT_STYLE}
      </head>
      <body>
        <main>
          <h1>${headline}</h1>
          ${report.verdict && html`<p>${describe(report, subject.unit, subject.scale)}</p>`}
          ${nextSteps(subject)} ${numbers(subject)}
          <figure>
            ${plate}
            <figcaption>
              The average star of each ninth of the sensor, first stored row on top. The line runs at half of
              the peak; the dots repeat the centre’s line.
            </figcaption>
          </figure>
          ${
            subject.beside.length > 0 &&
            html`<section>
              <h2>Beside an earlier frame</h2>
              ${subject.beside.map((sentence) => html`<p>${sentence}</p>`)}
            </section>`
          }
          ${parts(subject)} ${found(subject)} ${regions(subject)} ${facts(subject)}
          ${
            report.warnings.length > 0 &&
            html`<section>
              <h2>To be kept in mind</h2>
              ${report.warnings.map((warning) => html`<p>${warning}</p>`)}
            </section>`
          }
          <footer>
            Measured by Cornerwise on one machine, from one raw exposure. ± is the standard error of each
            number. A width (FWHM) is the diameter of the circle with the area inside half of the peak, as
            seen through the pixel.
          </footer>
        </main>
      </body>
    </html> `.text;
}

export const headlineOf = ({ report, unit, scale }: ReportSubject): string =>
  report.fault?.message ??
  (report.verdict && retold(report.verdict.headline, unit, scale)) ??
  describe(report, unit, scale);

function nextSteps({ report: { verdict }, unit, scale }: ReportSubject): Markup | null {
  if (!verdict) return null;
  return html`<section>
    <h2>What to do</h2>
    <dl class="steps">
      ${verdict.next.map(
        (step) =>
          html`<dt>${WHEN[step.when]}</dt>
            <dd>
              ${retold(step.do, unit, scale)}${step.needs && ` Needs ${step.needs}.`}${
                step.cornerFwhmLeftPx !== null &&
                html` <span class="soft"
                  >Leaves ${shortLength(step.cornerFwhmLeftPx, unit, scale)} in the corners.</span
                >`
              }
            </dd>`,
      )}${
        verdict.decider &&
        html`<dt>To be sure</dt>
          <dd>${verdict.decider.do}</dd>`
      }
    </dl>
  </section>`;
}

function numbers({ report, unit, scale }: ReportSubject): Markup {
  const { centrePx, cornersPx, size } = compare(report);
  const number = (name: string, estimate: Estimate | null) =>
    html`<div>
      <dt>${name}</dt>
      <dd>${lengthWithError(estimate, unit, scale)}</dd>
    </div>`;
  return html`<section>
    <h2>${size === 'fwhmPx' ? 'Width of the stars (FWHM)' : 'Size of the stars (half-flux diameter)'}</h2>
    <dl class="big">${number('Centre', centrePx)}${number('Corners', cornersPx)}</dl>
  </section>`;
}

/** What each part alone would give a star, as bars on one scale. */
function parts({ report, unit, scale }: ReportSubject): Markup | null {
  const rows = partRows(report);
  if (rows.length === 0) return null;
  const widest = Math.max(...rows.flatMap(({ centrePx, cornersPx }) => [centrePx, cornersPx]));
  const bar = (px: number, style: string) =>
    html`<span class="${style}" style="width:${plain((100 * px) / widest, 1)}%"></span>`;
  return html`<section>
    <h2>What makes the stars as wide as they are</h2>
    <table class="numbers">
      <caption>
        The width that each part alone would give a star; together they add up in squares. Upper bar: centre,
        lower bar: corners.
      </caption>
      <thead>
        <tr>
          <th>Part</th>
          <th>Centre</th>
          <th>Corners</th>
          <th class="bars"></th>
        </tr>
      </thead>
      <tbody>
        ${rows.map(
          ({ name, centrePx, cornersPx }) =>
            html`<tr>
              <th>${name}</th>
              <td>${shortLength(centrePx, unit, scale, 2)}</td>
              <td>${shortLength(cornersPx, unit, scale, 2)}</td>
              <td class="bars">${bar(centrePx, 'in')}${bar(cornersPx, 'out')}</td>
            </tr>`,
        )}
      </tbody>
    </table>
  </section>`;
}

function found({ report, unit, scale }: ReportSubject): Markup | null {
  const rows = findings(report);
  if (rows.length === 0) return null;
  return html`<section>
    <h2>What the model of the whole field says</h2>
    <table>
      <tbody>
        ${rows.map(
          ({ what, estimate, unit: own }) =>
            html`<tr>
              <th>${what}</th>
              <td>
                ${own === 'px' ? lengthWithError(estimate, unit, scale) : `${withError(estimate)} ${own}`}
              </td>
            </tr>`,
        )}
      </tbody>
    </table>
  </section>`;
}

function regions({ report, unit, scale }: ReportSubject): Markup {
  return html`<section>
    <h2>Part by part</h2>
    <div class="wide">
      <table class="numbers">
        <thead>
          <tr>
            <th>Part of the sensor</th>
            <th>FWHM</th>
            <th>Half-flux diameter</th>
            <th>Elongation</th>
            <th>Long axis, °</th>
            <th>Stars</th>
          </tr>
        </thead>
        <tbody>
          ${report.regions.map(
            (region) =>
              html`<tr>
                <th>${placeName(region)}</th>
                <td>${lengthWithError(region.fwhmPx, unit, scale)}</td>
                <td>${lengthWithError(region.hfdPx, unit, scale)}</td>
                <td>${withError(region.elongation)}</td>
                <td>${axisText(region)}</td>
                <td>${region.stars}</td>
              </tr>`,
          )}
        </tbody>
      </table>
    </div>
  </section>`;
}

/** An axis means nothing where the star is round within its errors. */
const axisText = ({ elongation, angleDeg }: Region): string =>
  elongation && elongation.value - 1 > 2 * elongation.sigma ? angleWithError(angleDeg) : NO_VALUE;

function facts({ report, scale, told }: ReportSubject): Markup {
  const { frame, stars } = report;
  const given = (value: number | null | undefined, unit: string, decimals = 1) =>
    value === null || value === undefined ? NO_VALUE : `${plain(value, decimals)} ${unit}`;
  const rows: [string, string][] = [
    ['Size', frame ? `${frame.widthPx} × ${frame.heightPx} px` : NO_VALUE],
    ['Colour filters', frame?.mosaic ?? 'none'],
    ['Exposure', given(frame?.exposureS, 's')],
    ['Focal length', given(frame?.focalLengthMm, 'mm', 0)],
    ['Aperture', given(frame?.apertureMm, 'mm', 0)],
    ['Scale', given(scale.arcsecPerPx, 'arcsec per pixel', 3)],
    ['Stars measured', `${count(stars.measured)} of ${count(stars.detected)}`],
    ...told.map(({ name, text }): [string, string] => [name, text]),
  ];
  return html`<section>
    <h2>The frame</h2>
    <table>
      <tbody>
        ${rows.map(
          ([name, text]) =>
            html`<tr>
              <th>${name}</th>
              <td>${text}</td>
            </tr>`,
        )}
      </tbody>
    </table>
  </section>`;
}
