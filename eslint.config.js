import tseslint from "typescript-eslint";

/**
 * Only what Biome can't check: what needs types (promises that nothing waits for, cases that are missing), and how long and
 * branched a function is. A function that must be longer has `eslint-disable-next-line` with its reason above it.
 */
export default tseslint.config(
  {
    ignores: [
      "**/generated/**",
      "dist/**",
      "coverage/**",
      "node_modules/**",
      "data/**",
      ".stryker-tmp/**",
      "**/*.js",
      "**/*.mjs",
    ],
  },
  {
    files: ["**/*.ts", "**/*.tsx"],
    plugins: { "@typescript-eslint": tseslint.plugin },
    languageOptions: {
      parser: tseslint.parser,
      parserOptions: { projectService: true, tsconfigRootDir: import.meta.dirname },
    },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      "@typescript-eslint/no-floating-promises": "error",
      "@typescript-eslint/no-misused-promises": "error",
      "@typescript-eslint/await-thenable": "error",
      "@typescript-eslint/switch-exhaustiveness-check": ["error", { considerDefaultExhaustiveForUnions: true }],
    },
  },
  {
    // Not in the client and the adapters: there the types promise what an old browser or a foreign library doesn't keep.
    files: ["server/contract/**/*.ts", "server/domain/**/*.ts", "server/flows/**/*.ts"],
    rules: { "@typescript-eslint/no-unnecessary-condition": "error" },
  },
  {
    files: ["server/**/*.ts", "client/**/*.{ts,tsx}"],
    rules: {
      "max-lines-per-function": ["error", { max: 40, skipComments: true, skipBlankLines: true }],
      complexity: ["error", 12],
      "max-params": ["error", 5],
    },
  },
);
