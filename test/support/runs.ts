/** How many cases a slow property is tested with: few in the usual tests, `PIEWARD_TEST_RUNS` times as many in `npm run test:soak`. */
export const runs = (usual: number): number => Math.ceil(usual * Number(process.env.PIEWARD_TEST_RUNS ?? "1"));
