import type { FastifyInstance, RouteOptions } from "fastify";
import { z } from "zod";

/** Of a route that takes no field at all. */
export const noFields = z.strictObject({}).nullish();

/**
 * Refuses what a request says and no route reads: a field that is let pass does nothing, and whoever sent it believes it did.
 * Routes with fields say so in their schemas; this gives the others one without. For keepers' routes only: feeders of a newer
 * version may say more than this server knows.
 */
export function refuseUnknownFields(app: FastifyInstance): void {
  app.addHook("onRoute", (route: RouteOptions) => {
    const { body = noFields, querystring = noFields } = route.schema ?? {};
    route.schema = { ...route.schema, querystring, ...(takesBody(route) ? { body } : {}) };
  });
}

const takesBody = ({ method }: RouteOptions): boolean =>
  [method].flat().some((each) => !["GET", "HEAD", "OPTIONS"].includes(each.toUpperCase()));
