import type { z } from "zod";
import type { stillChangeRequest } from "../../server/contract/stillRequest.ts";
import type { StillsView } from "../../server/contract/stillView.ts";
import { request } from "./api.ts";
import { type PagePlace, pageQuery } from "./pageQuery.ts";

/** Requests of the page of stills: apart, so that the first page doesn't carry them. */
export const stillApi = {
  stills: (yardId: string, after: PagePlace | null) =>
    request<StillsView>("GET", `${yardPath(yardId)}/stills${pageQuery(after)}`),
  changeStill: (yardId: string, id: string, change: z.input<typeof stillChangeRequest>) =>
    request<StillsView>("PATCH", stillPath(yardId, id), change),
  deleteStill: (yardId: string, id: string) => request<StillsView>("DELETE", stillPath(yardId, id)),
};

export const stillUrl = (yardId: string, id: string, size: "full" | "small") =>
  `/api/v1${stillPath(yardId, id)}/picture?size=${size}`;

const yardPath = (id: string) => `/yards/${encodeURIComponent(id)}`;
const stillPath = (yardId: string, id: string) => `${yardPath(yardId)}/stills/${encodeURIComponent(id)}`;
