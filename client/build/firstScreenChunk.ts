/** What the bundler knows of a module. */
interface ModuleGraph {
  getModuleInfo(id: string): { readonly isEntry: boolean; readonly importers: readonly string[] } | null;
}

/**
 * Puts all that the first screen needs, except the entry itself, into one file. Otherwise the bundler makes a file for each
 * set of screens that share a module, and a first opening on a weak connection waits for more requests.
 * @returns the name of the file; null for the entry, and for a module that only later screens load
 */
export function firstScreenChunk(id: string, graph: ModuleGraph): string | null {
  const isEntry = graph.getModuleInfo(id)?.isEntry ?? false;
  return !isEntry && isImportedByEntry(id, graph, new Set()) ? "index" : null;
}

function isImportedByEntry(id: string, graph: ModuleGraph, seen: Set<string>): boolean {
  if (seen.has(id)) return false;
  seen.add(id);
  const info = graph.getModuleInfo(id);
  return info !== null && (info.isEntry || info.importers.some((importer) => isImportedByEntry(importer, graph, seen)));
}
