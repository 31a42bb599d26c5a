import { join } from "node:path";
import { cruise, type ICruiseResult } from "dependency-cruiser";

/** One `import` or `export … from`: files as paths from the project's folder, libraries by their name. */
export interface Import {
  readonly from: string;
  readonly to: string;
  readonly kind: "file" | "library" | "node";
  readonly typeOnly: boolean; // gone when the program runs
}

/** Reads all imports of the TypeScript files below the folders. @throws Error where one leads nowhere */
export async function readImports(projectFolder: string, folders: readonly string[]): Promise<Import[]> {
  const { output } = await cruise([...folders], {
    baseDir: projectFolder,
    tsPreCompilationDeps: "specify",
    doNotFollow: { path: "node_modules" },
    exclude: { path: "/generated/" },
  });
  return (output as ICruiseResult).modules
    .filter(({ source }) => folders.some((folder) => source.startsWith(`${folder}/`)))
    .flatMap(({ source, dependencies }) =>
      dependencies.map(({ module, resolved, dependencyTypes, couldNotResolve, preCompilationOnly }): Import => {
        const kind = dependencyTypes.includes("core") ? "node" : /^[./#]/.test(module) ? "file" : "library";
        if (couldNotResolve && kind === "file") throw new Error(`${source} imports ${module}, which isn't there`);
        const to =
          kind === "file"
            ? resolved
            : kind === "node"
              ? `node:${libraryName(module.replace(/^node:/, ""))}`
              : libraryName(module);
        return { from: source, to, kind, typeOnly: preCompilationOnly === true };
      }),
    );
}

/** `@preact/signals/x` is of `@preact/signals`, `fs/promises` of `fs`. */
function libraryName(module: string): string {
  const parts = module.split("/");
  return parts.slice(0, module.startsWith("@") ? 2 : 1).join("/");
}

/** A room of the house: which files it has, what they may import, and why it is so. */
export interface Module {
  readonly name: string;
  readonly files: RegExp; // a file belongs to the first room that matches
  readonly mayImport: readonly string[]; // rooms, besides its own
  readonly mayImportTypesOf?: readonly string[]; // rooms of which only types may be imported
  readonly libraries: readonly string[] | "any"; // `node:` names among them
  readonly reason: string;
}

/** @returns a sentence for each import that goes through a wall. */
export function brokenBoundaries(rooms: readonly Module[], imports: readonly Import[]): string[] {
  return imports.flatMap(({ from, to, kind, typeOnly }) => {
    const room = rooms.find(({ files }) => files.test(from));
    if (!room) return [`${from} is in no room: give it one, with its reason`];
    if (kind !== "file") {
      const may = typeOnly || room.libraries === "any" || room.libraries.includes(to);
      return may ? [] : [`${from} imports ${to}: ${room.name} ${room.reason}`];
    }
    const next = rooms.find(({ files }) => files.test(to));
    if (!next) return [`${from} imports ${to}, which is in no room`];
    const may =
      next === room ||
      room.mayImport.includes(next.name) ||
      (typeOnly && (room.mayImportTypesOf ?? []).includes(next.name));
    return may ? [] : [`${from} imports ${to}: ${room.name} ${room.reason}`];
  });
}

export const projectFolder = join(import.meta.dirname, "../..");
