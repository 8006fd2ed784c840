"""The report's style sheet: light ground, one column, and page breaks that keep tables whole."""

STYLE = """:root { --ink: #161b26; --soft: #5c626e; --line: #d5d8de; --paper: #fcfbf7; --rule: #161b26; }
* { box-sizing: border-box; }
html { background: var(--paper); }
body { margin: 0; color: var(--ink);
  font: 16px/1.5 "Helvetica Neue", Arial, "Liberation Sans", sans-serif;
  font-variant-numeric: tabular-nums; }
main { max-width: 60rem; margin: 0 auto; padding: 2.5rem 1.5rem 4rem; }
header { display: flex; flex-wrap: wrap; align-items: baseline; gap: 0 1rem; }
h1 { font-size: 1.9rem; line-height: 1.2; font-weight: 600; margin: 0; overflow-wrap: anywhere; }
header p { color: var(--soft); margin: 0; overflow-wrap: anywhere; }
h2 { font-size: 1.1rem; font-weight: 600; margin: 2.4rem 0 .6rem; padding-top: .5rem;
  border-top: 1.5px solid var(--rule); }
p { margin: .4rem 0; max-width: 44rem; }
.verdict { margin: 1.2rem 0 1.4rem; padding: .9rem 1.2rem; border: 1px solid var(--line);
  border-left: .5rem solid var(--ink);
  background: #fff; }
.verdict .level { font-size: 2.1rem; line-height: 1.15; font-weight: 700; margin: 0 0 .2rem; }
.verdict .command { overflow-wrap: anywhere; }
.verdict .officer { color: var(--soft); }
.level-fly { border-left-color: #00548f; }
.level-marginal { border-left-color: #b07a00; border-left-style: double; }
.level-do-not-fly { border-left-color: #962e00; border-left-width: 1rem; }
.level-look-again { border-left-color: #5c626e; border-left-style: dashed; }
figure { margin: 0 0 1rem; text-align: center; }
figure img { max-width: 100%; max-height: 80vh; border: 1px solid var(--line); }
figure svg { max-width: 100%; height: auto; max-height: 24rem; }
figcaption { color: var(--soft); font-size: .88rem; text-align: left; }
table { border-collapse: collapse; min-width: 60%; margin: .3rem 0 .8rem; }
caption { text-align: left; color: var(--soft); font-size: .9rem; padding-bottom: .3rem; }
th, td { text-align: left; vertical-align: top; padding: .34rem .9rem .34rem 0;
  border-bottom: 1px solid var(--line); font-weight: 400; }
thead th { color: var(--soft); font-size: .86rem; border-bottom: 1px solid var(--ink); }
tbody th { min-width: 9.5rem; }
p.next { break-before: avoid; }
td.num, th.num { text-align: right; white-space: nowrap; }
td.note { color: var(--soft); font-size: .92rem; }
tr.chief th, tr.chief td { font-weight: 600; }
tr.chief td.note { font-weight: 400; }
dl { margin: .3rem 0; }
dl.warnings div { padding: .6rem 0 .6rem 1rem; margin: .5rem 0; border-left: .25rem solid #b07a00; }
dt { font-weight: 600; }
dd { margin: .1rem 0 0; }
.bar { width: 12rem; }
.bar span { display: block; border-top: .55rem solid #00548f; margin-top: .5rem; }
.checks { display: grid; grid-template-columns: repeat(auto-fit, minmax(13rem, 1fr)); border: 1.5px solid var(--ink); }
.check { padding: .5rem .9rem .7rem; border-left: 1.5px solid var(--ink); margin-left: -1.5px; }
.check h3 { font-size: .86rem; font-weight: 400; color: var(--soft); margin: 0; }
.check .big { font-size: 1.3rem; font-weight: 700; margin: .1rem 0; }
.to-do { font-size: 1.15rem; }
code { font: .95em/1.4 "DejaVu Sans Mono", Menlo, Consolas, monospace; }
.more { margin-top: 2.4rem; border-top: 1.5px solid var(--rule); }
.more > summary { font-size: 1.1rem; font-weight: 600; padding: .7rem 0; cursor: pointer; }
.tool { color: var(--soft); font-size: .86rem; margin-top: 2rem; }
ul { margin: .3rem 0; padding-left: 1.2rem; max-width: 44rem; }
li { margin: .2rem 0; }
@page { margin: 12mm 13mm 14mm; @bottom-right { content: counter(page) " / " counter(pages);
  font-size: 9pt; color: #5c626e; } }
@media print {
  html { background: #fff; font-size: 9pt; }
  body { font-size: 9pt; line-height: 1.38; }
  main { max-width: none; padding: 0; }
  h1 { font-size: 15pt; }
  p, ul { margin-top: .5mm; margin-bottom: .5mm; max-width: none; }
  li { margin: 0; }
  table { margin: .5mm 0 1.5mm; }
  th, td { padding: .45mm 4mm .45mm 0; }
  h2 { break-after: avoid; margin: 2.6mm 0 .5mm; padding-top: .8mm; font-size: 10.5pt; }
  .verdict { margin: 2mm 0 3mm; padding: 2mm 4mm; }
  .verdict .level { font-size: 18pt; }
  .to-do { font-size: 10.5pt; }
  dl.warnings div { padding: .6mm 0 .6mm 3mm; margin: 1mm 0; }
  figure { margin: 0 0 1.5mm; }
  figcaption { font-size: 8.5pt; }
  figure svg { max-height: 52mm; }
  .check { padding: 1mm 2.5mm 1.5mm; }
  .tool { margin-top: 3mm; }
  table, dl.warnings div, li, .verdict, figure { break-inside: avoid; }
  .more { border: 0; margin: 0; }
  .more > summary { display: none; }
  .more::details-content { content-visibility: visible; display: block; height: auto; }
  figure img { max-height: 90mm; }
  .check .big { font-size: 12pt; }
  .verdict, .bar span, dl.warnings div { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
@media (max-width: 40rem) {
  main { padding: 1rem .8rem 2rem; }
  h1 { font-size: 1.5rem; }
  .verdict .level { font-size: 1.7rem; }
  figure img { max-height: none; width: 100%; }
  table { width: 100%; }
  caption, th, td { overflow-wrap: break-word; }
  tbody th { overflow-wrap: anywhere; min-width: 4.6rem; }
  td[colspan] { overflow-wrap: anywhere; }  /* a refusal may name a long path */
  th, td { padding-right: .5rem; }
  td.num, th.num { white-space: normal; }
  td.note { font-size: .86rem; }
  .bar { width: 3rem; }
  .plot text { font-size: 20px; }
}
"""
