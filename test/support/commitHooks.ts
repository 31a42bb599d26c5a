import type { Connections } from "../../server/adapters/store/openStore.ts";

/** The process is dead: the caller of the commit never gets an answer. */
class Died extends Error {
  override readonly name = "Died";
}

/** Counts the commits of a server, and can stop its process at one of them. */
export interface CommitHooks {
  /** For `openOn`: stands between the store and its database. */
  around(connections: Connections): Connections;
  /** How many there were since the count began. */
  count(): number;
  /** Starts the count again. @param most the process stops right after so many; null: it continues */
  begin(most: number | null): void;
}

/** All writing to the database comes through here, so every commit is counted. */
export function hookCommits(): CommitHooks {
  let done = 0;
  let most: number | null = null;
  const commit = async <T>(write: () => Promise<T>): Promise<T> => {
    if (done === most) throw new Died("nothing is written after the death of the process");
    const result = await write();
    done += 1;
    if (done === most) throw new Died("the process dies right after a commit");
    return result;
  };
  return {
    around: (connections) => ({
      ...connections,
      write: (work) => commit(() => connections.write(work)),
      transact: (work) => commit(() => connections.transact(work)),
    }),
    count: () => done,
    begin(limit) {
      done = 0;
      most = limit;
    },
  };
}
