export const sensors = {
  button: "button",
  detector: "metal detector",
  perch: "perch",
  chute: "chute sensor",
  scale: "scale",
};
