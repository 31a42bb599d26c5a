export const lawText =
  "This does not replace the laws and rules where you live. If your local authorities say something else, follow them.";

export const birdsTitle = "The birds";
export const birdCautions = [
  "Wild birds are protected in most places, and some towns forbid feeding them. Ask your local wildlife authority before you begin.",
  "Follow bird-flu notices: when your authority says stop, put the notice in force in the settings of the yard. It pauses every feeder. Don't touch dead or sick birds; report them to the authority.",
  "A sick or dead bird near the feeder: close it, clean it, and leave it closed for at least two weeks or as long as you are advised.",
  "In hard frost, leave some free food: birds must not have to work for all of it. When you stop feeding, reduce the food day by day, never at once.",
  "Keep away from nests, and do not disturb shy birds.",
] as const;

export const foodTitle = "The food";
export const foodCautions = [
  "Only plain, unsalted food, sold as fit to eat; peanuts tested for aflatoxin (mould poison). Break whole nuts in the nesting season.",
  "Throw out what is wet, caked or mouldy. Fill little and often.",
  "Clean hopper, tray and perch every week or when dirty, with gloves, rinse well and let it dry. Wash your hands.",
  "The feeder is an extra, never the birds' whole meal: keep to a small ration.",
] as const;

export const litterTitle = "The litter";
export const litterCautions = [
  "Reward only what a beak can carry without harm. No glass, no blades, no torn cans, no needles, no batteries, no lead.",
  "Crown caps have crimped, sometimes rusty edges: wear gloves when you empty the box. Caps may contain traces of alcohol.",
  "You are responsible for the litter you collect. Recycle or dispose of it properly.",
] as const;

export const batteryTitle = "Batteries in the cold";
export const batteryCautions = [
  "Don't charge lithium cells below 0 °C: it damages them and can make them dangerous, also later.",
  "A flat lead-acid battery freezes long before a full one. Never charge a frozen, swollen or leaking battery.",
  "Use the charger and the fuse that the battery's maker names, in a place where nothing can catch fire.",
] as const;

export const electricityTitle = "Electricity outdoors";
export const electricityCautions = [
  "Leave mains work to a qualified electrician and to your local wiring rules: residual-current protection, outdoor-rated parts.",
  "Use only extra-low voltage at the feeder. Switch off and unplug before you open it: a jammed motor can start again.",
  "Keep fingers and beaks out of moving parts: guard tray and motor.",
] as const;

export const neighboursTitle = "The neighbours";
export const neighbourCautions = [
  "Corvids are clever, early and loud. Talk to the neighbours first; a camera must not look into their garden.",
  "Pieward helps you to notice problems. It is not a safety device: a pause on the screen doesn't make a motor safe to touch. Only the switch and the plug do.",
] as const;
