/** The page's own style sheet: the notebook's colours as in client/style/colours.css (a test compares them) and a look for long texts. */
export const style = `:root {
  color-scheme: light dark;
  --paper: #eef0e8;
  --leaf: #f8f9f3;
  --ink: #1b2a33;
  --pencil: #4c5a62;
  --rule: #c3c9bd;
  --margin: #c9968f;
  --bark: #714a00;
  --spruce: #12584c;
  --on-ink: #f8f9f3;
  --serif: "Iowan Old Style", "Palatino Linotype", Palatino, "Noto Serif", Charter, Georgia, "DejaVu Serif", serif;
  --sans: system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "DejaVu Sans", sans-serif;
  --mono: ui-monospace, "SF Mono", Menlo, Consolas, "DejaVu Sans Mono", monospace;
  --gutter: 1.8rem;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #12191e;
    --leaf: #1a242a;
    --ink: #ebe8db;
    --pencil: #aab4b3;
    --rule: #37444b;
    --margin: #7c4f4c;
    --bark: #ecbd62;
    --spruce: #86d0bb;
    --on-ink: #12191e;
  }
}
*, *::before, *::after { box-sizing: border-box; }
html { font-size: 106.25%; -webkit-text-size-adjust: 100%; text-size-adjust: 100%; scroll-padding-top: 1rem; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 1rem / 1.5 var(--sans); overflow-wrap: break-word; }
h1, h2, h3, h4 { font-family: var(--serif); font-weight: 600; line-height: 1.2; text-wrap: balance; }
h1 { font-size: 2rem; margin: 0.2rem 0 0.4rem; }
h2 { font-size: 1.55rem; margin: 3rem 0 0.6rem; padding-top: 0.8rem; border-top: 2px solid var(--ink); }
h3 { font-size: 1.22rem; margin: 2rem 0 0.4rem; }
h4 { font-size: 1.05rem; margin: 1.6rem 0 0.3rem; }
p { margin: 0.5rem 0; max-width: 40rem; }
ul, ol { margin: 0.5rem 0; padding-left: 1.3rem; max-width: 40rem; }
li + li { margin-top: 0.4rem; }
a { color: var(--spruce); text-underline-offset: 0.2em; }
code { font: 0.92em var(--mono); }
:focus-visible { outline: 3px solid var(--spruce); outline-offset: 3px; border-radius: 2px; }
main:focus { outline: none; }
.skip { position: absolute; left: -100vw; top: 0; padding: 0.7rem 1rem; background: var(--ink); color: var(--on-ink); z-index: 3; }
.skip:focus { left: 0; }
.notebook {
  min-height: 100dvh;
  max-width: 50rem;
  margin: 0 auto;
  padding: max(0.8rem, env(safe-area-inset-top)) max(1rem, env(safe-area-inset-right)) 3rem var(--gutter);
  background-image: linear-gradient(var(--margin), var(--margin));
  background-size: 1.5px 100%;
  background-position: calc(var(--gutter) - 0.7rem) 0;
  background-repeat: no-repeat;
}
.name { display: inline-block; padding: 0.35rem 0; font: italic 600 1.1rem / 1.5 var(--serif); color: var(--pencil); text-decoration: none; }
nav ol { list-style: none; padding: 0; margin: 1.2rem 0 0; border-top: 1px solid var(--rule); }
nav li { margin: 0; border-bottom: 1px solid var(--rule); }
nav li + li { margin: 0; }
nav a { display: flex; align-items: center; min-height: 2.75rem; }
.example { margin: 0.9rem 0; }
figcaption, caption { color: var(--pencil); font-size: 0.9rem; text-align: left; }
caption { padding: 0.4rem 0; }
pre {
  margin: 0.2rem 0 0;
  padding: 0.7rem 0.8rem;
  overflow-x: auto;
  background: var(--leaf);
  border: 1px solid var(--rule);
  font-size: 0.86rem;
  line-height: 1.45;
  tab-size: 2;
}
table.fields { width: 100%; margin: 0.8rem 0; border-collapse: collapse; font-size: 0.94rem; }
.fields th, .fields td { text-align: left; vertical-align: top; padding: 0.4rem 0.9rem 0.4rem 0; border-bottom: 1px dotted var(--rule); font-weight: 400; }
.fields thead th { color: var(--pencil); border-bottom: 1px solid var(--rule); }
.fields th code { font-weight: 650; overflow-wrap: anywhere; }
.must { display: inline-block; color: var(--bark); font-size: 0.86rem; }
.range, .none, small { color: var(--pencil); }
small { font: 0.86rem var(--sans); }
.refusal { border-top: 1px solid var(--rule); }
.refusal h3 { margin-top: 1.2rem; }
.status { display: inline-block; min-width: 2.2em; color: var(--bark); }
.route { border-top: 1px solid var(--rule); }
.route summary { min-height: 2.75rem; padding: 0.5rem 0; cursor: pointer; }
.route summary span { display: block; color: var(--pencil); font-size: 0.94rem; padding-left: 1.15rem; }
.route[open] { padding-bottom: 0.8rem; }
footer { margin-top: 3rem; padding-top: 0.6rem; border-top: 1px solid var(--rule); color: var(--pencil); font-size: 0.88rem; }
@media (max-width: 39.99rem) {
  .fields, .fields tbody, .fields tr, .fields th, .fields td, .fields caption { display: block; }
  .fields thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); white-space: nowrap; }
  .fields tr { padding: 0.45rem 0; border-bottom: 1px dotted var(--rule); }
  .fields tbody th, .fields td { padding: 0.05rem 0; border: 0; }
}
@media (min-width: 40rem) {
  .fields th[scope="row"] { width: 15rem; }
  .fields td + td { width: 50%; }
}
@media (min-width: 72rem) {
  :root { --gutter: 5rem; }
  .notebook { display: grid; grid-template-columns: 15rem minmax(0, 46rem); column-gap: 3.5rem; max-width: 76rem; grid-template-rows: auto 1fr auto; }
  header, footer { grid-column: 1 / -1; }
  nav ol { position: sticky; top: 1.5rem; }
}
@media print {
  .skip, nav { display: none; }
  pre { white-space: pre-wrap; }
}
`;
