export const feederKeys = {
  incompleteSignature: "a signature needs feeder, mac, and time or nonce",
  staleSignature: "the signature's time is more than five minutes from the server's",
  staleNonce:
    "the signature's nonce is not this server's, or more than five minutes old; sign the one that comes with this refusal",
  wrongSignature: "the signature doesn't fit",
  unknownKey: "no feeder has this key",
  noHeader: "there is no Authorization header with a feeder key",
  unknownScheme: (scheme: string) => `Authorization: ${scheme} isn't understood, only Bearer and Signature`,
};
