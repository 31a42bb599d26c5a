import { evaluateDiagnosis } from "./diagnosisMatrix.ts";
import { evaluateHopper } from "./hopperCoverage.ts";
import { evaluateRunOut } from "./runOutCalibration.ts";

/** Prints the figures that evaluation.test.ts checks, as JSON: `tsx test/evaluation/shortEvaluation.ts`. */

const seeds = (count: number) => Array.from({ length: count }, (_, index) => 30_001 + index);

const figures = {
  diagnosis: evaluateDiagnosis(seeds(1), "all sensors").figures,
  hopper: evaluateHopper(seeds(2)).figures,
  runOut: evaluateRunOut(seeds(1), "scale").figures,
};
console.log(JSON.stringify(figures));
