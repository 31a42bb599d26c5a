import {
  batteryCautions,
  batteryTitle,
  birdCautions,
  birdsTitle,
  electricityCautions,
  electricityTitle,
  foodCautions,
  foodTitle,
  lawText,
  litterCautions,
  litterTitle,
  neighbourCautions,
  neighboursTitle,
} from "#text/cautionsScreen.ts";
import { safetyInformationLabel } from "#text/common.ts";
import { Screen } from "../components/screen.tsx";

/** Safety information. No law and no code is quoted here: the local ones decide. */
export const CautionsScreen = () => (
  <Screen title={safetyInformationLabel}>
    <p>{lawText}</p>
    <Cautions title={birdsTitle} cautions={birdCautions} />
    <Cautions title={foodTitle} cautions={foodCautions} />
    <Cautions title={litterTitle} cautions={litterCautions} />
    <Cautions title={batteryTitle} cautions={batteryCautions} />
    <Cautions title={electricityTitle} cautions={electricityCautions} />
    <Cautions title={neighboursTitle} cautions={neighbourCautions} />
  </Screen>
);

const Cautions = (props: { readonly title: string; readonly cautions: readonly string[] }) => (
  <section>
    <h2>{props.title}</h2>
    <ul>
      {props.cautions.map((text) => (
        <li key={text}>{text}</li>
      ))}
    </ul>
  </section>
);
