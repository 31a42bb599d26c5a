import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { acceptFeeder, refreshHome } from "./home.ts";

/** Undoes a change of settings: saves the earlier ones, and shows them. */
export async function changeBack(
  feeder: string,
  earlier: Parameters<typeof laterApi.changeFeeder>[1],
): Promise<ApiResult<unknown>> {
  const result = await laterApi.changeFeeder(feeder, earlier);
  if (result.kind === "ok") acceptFeeder(result.value);
  return result;
}

export async function changeYardBack(
  yard: string,
  earlier: Parameters<typeof laterApi.changeYard>[1],
): Promise<ApiResult<unknown>> {
  const result = await laterApi.changeYard(yard, earlier);
  if (result.kind === "ok") await refreshHome();
  return result;
}
