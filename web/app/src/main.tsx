import "./map/map.css";
import "./styles/page.css";
import { render } from "preact";
import { Net } from "./api/client";
import { App } from "./app";

render(<App net={new Net()} />, document.getElementById("page")!);
