export const feederKeys = {
  incompleteSignature: "a signature needs feeder, time and mac",
  staleSignature: "the signature's time is more than five minutes from the server's",
  wrongSignature: "the signature doesn't fit",
  unknownKey: "no feeder has this key",
  noHeader: "there is no Authorization header with a feeder key",
  unknownScheme: (scheme: string) => `Authorization: ${scheme} isn't understood, only Bearer and Signature`,
};
