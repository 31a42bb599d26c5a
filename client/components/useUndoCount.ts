import { useState } from "preact/hooks";
import type { ApiResult } from "../api/api.ts";

type Undo = () => Promise<ApiResult<unknown>>;

/** How often a form's save was undone: fields that have it as their key show what they begin with anew. */
export function useUndoCount() {
  const [undone, setUndone] = useState(0);
  const counted =
    (undo: Undo): Undo =>
    async () => {
      const result = await undo();
      if (result.kind === "ok") setUndone((count) => count + 1);
      return result;
    };
  return { undone, counted };
}
