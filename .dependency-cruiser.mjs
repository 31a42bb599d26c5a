/** Files that need each other can't be read, tested or replaced one at a time; types count, since a reader follows them too. */
export default {
  forbidden: [{ name: "no-import-circle", severity: "error", from: {}, to: { circular: true } }],
  options: {
    tsPreCompilationDeps: true, // `import type` too
    doNotFollow: { path: "node_modules" },
    exclude: { path: "/generated/" },
  },
};
