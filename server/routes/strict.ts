import type { FastifyInstance, RouteOptions } from "fastify";
import { z } from "zod";

/** Of a route that takes no field at all. */
export const noFields = z.strictObject({}).nullish();

/**
 * Refuses fields that no route reads: one that was accepted would do nothing, and its sender would believe that it did. Routes with
 * fields have them in their schemas; this gives the others an empty schema. For keepers' routes only: feeders of a newer version may
 * send fields that this server doesn't know.
 */
export function refuseUnknownFields(app: FastifyInstance): void {
  app.addHook("onRoute", (route: RouteOptions) => {
    const { body = noFields, querystring = noFields } = route.schema ?? {};
    route.schema = { ...route.schema, querystring, ...(takesBody(route) ? { body } : {}) };
  });
}

const takesBody = ({ method }: RouteOptions): boolean =>
  [method].flat().some((each) => !["GET", "HEAD", "OPTIONS"].includes(each.toUpperCase()));
