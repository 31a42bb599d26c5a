export const title = "Add a yard";
export const introText =
  "A yard has its own feeders, recipients, digest and time zone. You are its keeper and can invite others.";
export const addLabel = "Add yard";
