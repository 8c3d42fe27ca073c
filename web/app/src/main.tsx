import "./map/map.css";
import "./styles/page.css";
import { render } from "preact";
import { Net } from "./api/client";
import { App } from "./app";
import { readAddress } from "./model/address";
import { loadPlace } from "./screens/places";

const page = document.getElementById("page")!;
const link = /^\/go\/(invitation|reset)$/.exec(location.pathname)?.[1] as "invitation" | "reset" | undefined;
if (link && location.hash.length > 1) {
  void import("./screens/people/link").then(({ LinkPage }) => render(<LinkPage net={new Net()} what={link} />, page));
} else {
  // Fetched beside the records; what goes wrong is told where the place is drawn.
  const { place } = readAddress(location.pathname, location.search);
  loadPlace(place).catch(() => undefined);
  // In the field the sheet comes before the map.
  if (place !== "walk") import("./map/olmap").catch(() => undefined);
  render(<App net={new Net()} />, page);
}
