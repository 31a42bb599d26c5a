import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { projectFolder } from "./support/imports.ts";

/** Each page that the client links to, and each that a notification, an e-mail or a digest opens, is a page of the client. */

const routesOf = (app: string, recordScreens: string): readonly RegExp[] =>
  [...app.matchAll(/<Route path="([^"]+)"/g)]
    .flatMap(([, path = ""]) => (path.endsWith("/:page/:part?") ? recordPages(path, recordScreens) : [path]))
    .map((path) => new RegExp(`^${path.replace(/:\w+/g, "(?!new$)[^/]+")}$`));

/** The pages that recordScreens.tsx knows behind one route. */
const recordPages = (path: string, recordScreens: string): readonly string[] =>
  [...recordScreens.matchAll(/^ {2}\["([\w/]+)", \w+Screen\],$/gm)].map(([, page = ""]) =>
    path.replace("/:page/:part?", `/${page}`),
  );

/** Paths below the first part of a page, as they stand in code: `/feeders/${id}/refill?at=1` is `/feeders/x/refill`. */
const pathsIn = (source: string): readonly string[] =>
  [
    ...source
      .replace(/\$\{[^{}]*\}/g, "x")
      .matchAll(/["`](\/(?:(?:feeders|yards)\/|phones|account|practice|cautions)[^"`\n]*)["`]/g),
  ]
    .map(([, path = ""]) => path.replace(/[?#].*$/, ""))
    .filter((path) => !path.includes("/:")); // the route itself

function sources(folder: string): readonly string[] {
  return readdirSync(join(projectFolder, folder), { recursive: true, encoding: "utf8" })
    .filter((name) => /\.tsx?$/.test(name))
    .map((name) => `${folder}/${name}`);
}

const withoutPage = (routes: readonly RegExp[], source: string): readonly string[] =>
  pathsIn(source).filter((path) => !routes.some((route) => route.test(path)));

describe("a page that something links to", () => {
  const read = (path: string) => readFileSync(join(projectFolder, path), "utf8");
  const routes = routesOf(read("client/app.tsx"), read("client/screens/recordScreens.tsx"));

  it("exists", () => {
    const files = [
      ...["client/components", "client/screens", "client/state", "client/worker", "client/charts"].flatMap(sources),
      ...["server/domain", "server/flows"].flatMap(sources),
      "client/app.tsx",
    ];
    const links = files.map((file) => ({ file, source: read(file) }));
    expect(links.flatMap(({ source }) => pathsIn(source)).length).toBeGreaterThan(30);
    expect(links.flatMap(({ file, source }) => withoutPage(routes, source).map((path) => `${file}: ${path}`))).toEqual(
      [],
    );
  });

  it.each([
    [`<a href={\`/yards/$\{yard.id}/rates\`}>`, "/yards/x/rates"],
    ['<a href="/phones/mine">', "/phones/mine"],
    [`link: \`/feeders/$\{encodeURIComponent(id)}/filling?x=$\{y}\``, "/feeders/x/filling"],
  ])("would be missed in %s", (source, path) => {
    expect(withoutPage(routes, source)).toEqual([path]);
  });
});
