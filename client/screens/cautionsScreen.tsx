import { Screen } from "../components/screen.tsx";

/** The usual cautions. No law and no code is quoted here: the local ones decide. */
export function CautionsScreen() {
  return (
    <Screen title="Usual cautions">
      <p>
        None of this replaces the law, the codes and the authorities where you live. Where they say otherwise, they are
        right.
      </p>
      <section>
        <h2>The birds</h2>
        <ul>
          <li>
            Wild birds are protected in most places, and some towns forbid feeding them. Ask your local wildlife
            authority before you begin.
          </li>
          <li>
            Follow bird-flu notices: when your authority says stop, pause every feeder. Don't touch dead or sick birds;
            report them to the authority.
          </li>
          <li>
            A sick or dead bird near the feeder: close it, clean it, and leave it closed for at least two weeks or as
            long as you are advised.
          </li>
          <li>
            Never make food depend on work in hard frost: leave some free food. When you end, feed less from day to day
            rather than stop at once.
          </li>
          <li>Keep away from nests, and let shy birds be.</li>
        </ul>
      </section>
      <section>
        <h2>The food</h2>
        <ul>
          <li>
            Only plain, unsalted food, sold as fit to eat; peanuts tested for mould poison. Break whole nuts in the
            nesting season.
          </li>
          <li>Throw out what is wet, caked or mouldy. Fill little and often.</li>
          <li>
            Clean hopper, tray and perch every week or when dirty, with gloves, rinse well and let it dry. Wash your
            hands.
          </li>
          <li>The feeder is an extra, never the birds' whole meal: keep to a small ration.</li>
        </ul>
      </section>
      <section>
        <h2>The litter</h2>
        <ul>
          <li>
            Reward only what a beak can carry without harm. No glass, no blades, no torn cans, no needles, no batteries,
            no lead.
          </li>
          <li>
            Crown caps have crimped, sometimes rusty edges: wear gloves when you empty the box. Caps may hold leavings
            of alcohol.
          </li>
          <li>Collected litter can count as waste in your care: take it to where it belongs.</li>
        </ul>
      </section>
      <section>
        <h2>Batteries in the cold</h2>
        <ul>
          <li>Don't charge lithium cells below 0 °C: it damages them and can make them dangerous, also later.</li>
          <li>
            A flat lead-acid battery freezes long before a full one. Never charge a frozen, swollen or leaking battery.
          </li>
          <li>Use the charger and the fuse that the battery's maker names, in a place where nothing can catch fire.</li>
        </ul>
      </section>
      <section>
        <h2>Electricity outdoors</h2>
        <ul>
          <li>
            Leave mains work to a qualified electrician and to your local wiring rules: residual-current protection,
            outdoor-rated parts.
          </li>
          <li>
            Best bring only extra-low voltage to the feeder. Switch off and unplug before you open it: a jammed motor
            can start again.
          </li>
          <li>Keep fingers and beaks out of moving parts: guard tray and motor.</li>
        </ul>
      </section>
      <section>
        <h2>The neighbours</h2>
        <ul>
          <li>
            Corvids are clever, early and loud. Talk to the neighbours first; a camera must not look into their garden.
          </li>
          <li>
            Pieward helps you to notice. It is no safety device: a pause on the screen doesn't make a motor safe to
            touch. Only the switch and the plug do.
          </li>
        </ul>
      </section>
    </Screen>
  );
}
