import fc from "fast-check";

/**
 * Properties are tested with the same random values each time, so that a failure repeats and a success is not luck.
 * `npm run test:soak` uses others; each failure names its seed.
 */
fc.configureGlobal({ seed: Number(process.env.PIEWARD_TEST_SEED ?? "20261125") });
