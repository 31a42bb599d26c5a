import { createRequire } from "node:module";
import { Worker } from "node:worker_threads";
import { type Span, seconds } from "../domain/instant.ts";
import type { GuessEstimate, GuessEstimator } from "../ports.ts";

interface Question {
  readonly passphrase: string;
  readonly expected: readonly string[];
}

/**
 * The lists of common words take half a second to read and 60 MB, which a small board needs for other things, and a passphrase is
 * set once a year. So a thread holds them, which ends after a while without a question and frees its memory.
 * @param idleMax how long the thread waits for another question
 */
export function createGuessEstimator(idleMax: Span = seconds(5)): GuessEstimator {
  let worker: Worker | null = null;
  let last: Promise<unknown> = Promise.resolve();
  let ending: NodeJS.Timeout | undefined;

  const end = () => {
    void worker?.terminate();
    worker = null;
  };
  const ask = async (question: Question) => {
    clearTimeout(ending);
    worker ??= start();
    try {
      const answer = await answerOf(worker, question);
      ending = setTimeout(end, idleMax).unref();
      return answer;
    } catch (error) {
      end();
      throw error;
    }
  };

  return {
    estimate(passphrase, expected) {
      const answer = last.then(() => ask({ passphrase, expected }));
      last = answer.catch(() => undefined); // the caller gets the error
      return answer;
    },
  };
}

function start(): Worker {
  const require = createRequire(import.meta.url);
  const libraries = [
    require.resolve("@zxcvbn-ts/core"),
    require.resolve("@zxcvbn-ts/language-common"),
    require.resolve("@zxcvbn-ts/language-en"),
  ];
  const worker = new Worker(program, { eval: true, workerData: { libraries } });
  worker.unref(); // only an open question keeps the process running
  return worker;
}

function answerOf(worker: Worker, question: Question): Promise<GuessEstimate> {
  return new Promise((resolve, reject) => {
    const ended = (code: number) => over(() => reject(new Error(`judging a passphrase ended with ${code}`)));
    const failed = (error: Error) => over(() => reject(error));
    const answered = (answer: GuessEstimate) => over(() => resolve(answer));
    const over = (act: () => void) => {
      worker.off("exit", ended).off("error", failed).off("message", answered).unref();
      act();
    };
    worker.on("exit", ended).on("error", failed).on("message", answered).ref();
    worker.postMessage(question);
  });
}

const program = `
  const { parentPort, workerData } = require("node:worker_threads");
  const [core, common, english] = workerData.libraries.map((path) => require(path));
  // Each warning by its name: the client has its text.
  const warnings = Object.fromEntries(Object.keys(english.translations.warnings).map((name) => [name, name]));
  const estimator = new core.ZxcvbnFactory({
    dictionary: { ...common.dictionary, ...english.dictionary },
    graphs: common.adjacencyGraphs,
    translations: { ...english.translations, warnings },
  });
  parentPort.on("message", ({ passphrase, expected }) => {
    const { score, feedback } = estimator.check(passphrase, expected);
    parentPort.postMessage({ score, warning: feedback.warning ?? null });
  });
`;
