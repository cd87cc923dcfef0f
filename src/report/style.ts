import { Markup } from './markup.ts';

/** Rules of the drawing of the average stars, wherever it stands outside of the page. */
export const PLATE_RULES = `
.field-ground { fill: #161c1f; }
.field-outline { fill: none; stroke: #333d42; }
.field-bracket { fill: none; stroke: #e6bd72; stroke-width: 2; }
.field-size { fill: var(--soft, #b5ae9c); font: 13px system-ui, sans-serif; }
.plate-ground { fill: #05080a; }
.plate-casing { fill: none; stroke: #000; stroke-opacity: 0.55; stroke-width: 3.75; }
.plate-half { fill: none; stroke: #fff3d6; stroke-width: 1.75; }
.plate-reference { fill: none; stroke: #fff3d6; stroke-width: 1.25; stroke-dasharray: 1.5 3.5; stroke-linecap: round; }
.plate-caption { fill: #ece5d3; font: 14px system-ui, sans-serif; }
`;

/** Ink on night, or on paper where that is wished for or printed. */
export const REPORT_STYLE = new Markup(`<style>
:root { --ground: #0e1214; --ink: #ece5d3; --soft: #b5ae9c; --line: #333d42; --accent: #e6bd72; }
@media (prefers-color-scheme: light), print {
  :root { --ground: #fbf8f1; --ink: #1f2629; --soft: #565a56; --line: #c9bfa9; --accent: #76500a; }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--ground); color: var(--ink); font: 1rem/1.5 system-ui, sans-serif; }
main { max-width: 56rem; margin: 0 auto; padding: 2rem 1rem 3rem; display: grid; gap: 1.5rem; }
section, figure { margin: 0; min-width: 0; }
h1, h2 { font-family: 'Iowan Old Style', Palatino, Georgia, serif; line-height: 1.3; margin: 0 0 0.5rem; overflow-wrap: anywhere; }
h1 { font-size: clamp(1.4rem, 4vw, 2rem); font-weight: 400; }
h2 { font-size: 1.2rem; }
p { margin: 0 0 0.5rem; overflow-wrap: anywhere; }
dl, dd { margin: 0; }
.steps { display: grid; grid-template-columns: max-content minmax(0, 1fr); gap: 0.4rem 1rem; }
.steps dt { color: var(--accent); font-weight: 600; }
.big { display: flex; flex-wrap: wrap; gap: 0.5rem 3rem; }
.big dd { font-size: 1.7rem; }
.soft, dt, caption, thead, figcaption, footer { color: var(--soft); }
figcaption, caption, footer { font-size: 0.9rem; text-align: left; padding: 0.3rem 0; }
svg { max-width: 100%; height: auto; display: block; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { padding: 0.35rem 0.6rem 0.35rem 0; border-bottom: 1px solid var(--line); text-align: left; overflow-wrap: anywhere; }
th { font-weight: 400; }
tbody th::first-letter { text-transform: uppercase; }
.wide { overflow-x: auto; }
.numbers th, .numbers td { white-space: nowrap; }
.numbers tbody th, .numbers caption { white-space: normal; }
.bars { width: 35%; }
.bars span { display: block; height: 0.4rem; margin: 0.1rem 0; background: var(--soft); }
.bars .out { background: var(--accent); }
${PLATE_RULES}</style>`);
