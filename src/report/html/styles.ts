/** The style sheet of every page: ink on paper in the manner of a journal, for light and dark screens, phones and print. */
import { PICTURE_CSS } from '../svg/document.js';
import { SERIES_CSS } from '../svg/series.js';

const COLOURS = `
:root{color-scheme:light dark;--ink:#1f2328;--faint:#57606a;--paper:#fff;--rule:#1f2328;--hair:#d0d7de;--link:#0b5394;--shade:#f4f2ec}
@media screen and (prefers-color-scheme:dark){:root{--ink:#e6edf3;--faint:#9da7b3;--paper:#0d1117;--rule:#9da7b3;--hair:#30363d;--link:#79c0ff;--shade:#161b22}}`;

const TEXT = `
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);font:1.0625rem/1.55 "Liberation Serif","Times New Roman",Georgia,serif}
header,main,footer{max-width:62rem;margin:0 auto;padding:0 1.25rem}
header{padding-top:2rem}main{padding-bottom:2rem}footer{border-top:1px solid var(--hair);padding-top:.75rem;padding-bottom:2rem;color:var(--faint);font-size:.9375rem}
h1,h2,h3{line-height:1.25;font-weight:600;overflow-wrap:anywhere}
h1{font-size:1.75rem;margin:.25rem 0}h2{font-size:1.3125rem;margin:2.5rem 0 .5rem;border-bottom:1px solid var(--hair);padding-bottom:.25rem}h3{font-size:1.0625rem;margin:1.75rem 0 .25rem}
p,dt,dd,li,a,caption,figcaption{overflow-wrap:anywhere}p{margin:.5rem 0}
a{color:var(--link)}
.term{color:inherit;text-decoration:underline dotted;text-underline-offset:.2em}
.kicker{margin:0;color:var(--faint);font-variant:small-caps;letter-spacing:.04em}
.lead{background:var(--shade);border-left:.25rem solid var(--rule);padding:.75rem 1rem;margin:1rem 0;font-size:1.125rem}
.note,figcaption{font-size:.9375rem;color:var(--faint)}
nav ul{list-style:none;padding:0;margin:.75rem 0;display:flex;flex-wrap:wrap;gap:.25rem 1.25rem}
:target{outline:2px solid var(--link);outline-offset:.25rem}
:focus-visible{outline:2px solid var(--link);outline-offset:2px}`;

const BLOCKS = `
figure{margin:1.25rem 0}
figcaption{margin-top:.375rem;max-width:44rem}
.scroll{overflow-x:auto;max-width:100%}
.drawing{display:block;max-width:100%;height:auto}
img{display:block;max-width:100%;height:auto;background:#000}
table{border-collapse:collapse;font-variant-numeric:tabular-nums;border-top:2px solid var(--rule);border-bottom:2px solid var(--rule);margin:.25rem 0}
caption{text-align:left;font-weight:600;padding:.75rem 0 .375rem}
th,td{padding:.3rem .75rem .3rem 0;vertical-align:baseline}
th:last-child,td:last-child{padding-right:.25rem}p,.glossary{max-width:50rem}
thead th{border-bottom:1px solid var(--rule);font-weight:600;vertical-align:bottom}
tbody th{font-weight:400}
.number{text-align:right;white-space:nowrap}.words{text-align:left}
td.words,th.words{max-width:26rem;overflow-wrap:break-word}tbody th.words{min-width:6.5rem}
th button{all:unset;cursor:pointer;text-decoration:underline dotted;text-underline-offset:.2em}
th button:focus-visible{outline:2px solid var(--link)}
[aria-sort=ascending] button::after{content:" ▲"}[aria-sort=descending] button::after{content:" ▼"}
dl{margin:.75rem 0}dd{margin:0}
.facts>div{display:grid;grid-template-columns:11rem minmax(0,1fr);gap:0 1rem;padding:.3rem 0;border-bottom:1px solid var(--hair)}
.facts dt{color:var(--faint)}
.glossary>div{padding:.25rem 0}.glossary dt{display:inline;font-weight:600}.glossary dt::after{content:": "}.glossary dd{display:inline}
ul.cautions{padding-left:1.25rem}
.remedy{color:var(--faint)}`;

const NARROW = `
@media screen and (max-width:40rem){header,main,footer{padding-left:.875rem;padding-right:.875rem}h1{font-size:1.4375rem}
.drawing.wide{max-width:none;width:40rem}.facts>div{grid-template-columns:minmax(0,1fr)}}`;

const PRINT = `
@media print{body{font-size:10.5pt}header,main,footer{max-width:none;padding-left:0;padding-right:0}nav,.skip{display:none}
figure,tr,.facts>div{break-inside:avoid}h2,h3{break-after:avoid}.scroll{overflow:visible}.number{white-space:normal}.drawing{max-height:20cm}
th button{text-decoration:none}a{color:inherit}}`;

/** One sheet for all pages: its hash stands in their security policy. */
export const PAGE_CSS = [COLOURS, TEXT, BLOCKS, PICTURE_CSS, SERIES_CSS, NARROW, PRINT].join('\n');
