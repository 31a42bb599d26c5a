import type { Plugin } from "vite";

/** Screens that a link opens first (from a notification, an e-mail, an invitation), by their paths. */
const firstScreenPaths = {
  feederScreen: "^/feeders/(?!new$)[^/]+$",
  digestScreen: "^/yards/[^/]+/digest$",
  youScreen: "^/(you|phones)$",
  linkScreens: "^/(first-sign-in|join|reset)$",
} as const;

/**
 * Puts a small script into the page's head that requests what the first screen needs while the program is still loading: the
 * state of the feeders, and the screen's own part of the program. On a weak connection each would otherwise cost one more round
 * trip. The server allows this very script by its hash (server/routes/client.ts).
 */
export function earlyRequests(): Plugin {
  return {
    name: "pieward-early-requests",
    apply: "build",
    transformIndexHtml: {
      order: "post",
      handler(html, { bundle = {} }) {
        const screens = Object.entries(firstScreenPaths).map(([name, path]) => {
          const chunk = Object.values(bundle).find((each) => each.type === "chunk" && each.name === name);
          if (chunk?.type !== "chunk") throw new Error(`expected a chunk of its own for ${name}`);
          const entries = new Set(
            Object.values(bundle).flatMap((each) =>
              each.type === "chunk" && each.isEntry ? [each.fileName, ...each.imports] : [],
            ),
          );
          return [
            path,
            [chunk.fileName, ...chunk.imports].filter((file) => !entries.has(file)).map((file) => `/${file}`),
          ];
        });
        // Before the style sheet, for which a script would wait, and after the encoding, which must be among the first octets.
        const [before, after] = html.split(charset);
        if (before === undefined || after === undefined) throw new Error(`expected ${charset} in index.html`);
        return `${before}${charset}\n    <script>${earlyScript(JSON.stringify(screens))}</script>${after}`;
      },
    },
  };
}

const charset = '<meta charset="utf-8" />';

/** Read by client/api/earlyResponses.ts, which handles a failed response. */
const earlyScript = (screens: string) =>
  `(()=>{const p=location.pathname;` +
  `for(const[s,f]of ${screens})if(new RegExp(s).test(p))for(const h of f){` +
  `const l=document.createElement("link");l.rel="modulepreload";l.href=h;document.head.append(l)}` +
  `const a=globalThis.earlyAnswers={};` +
  `for(const u of p==="/"?["home","phones"]:["home"]){` +
  `(a["/api/v1/"+u]=fetch("/api/v1/"+u,{credentials:"same-origin",cache:"no-store",signal:AbortSignal.timeout(15000)})).catch(()=>{})}` +
  `})()`;
