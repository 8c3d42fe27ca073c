import { describe, expect, it } from "vitest";
import { readCsv } from "./csv";
import { readFigures } from "./figures";

describe("readCsv", () => {
  it.each([
    { name: "plain lines", text: "id,name\r\n1,North\r\n2,South\r\n", want: [{ id: "1", name: "North" }, { id: "2", name: "South" }] },
    { name: "quotes, commas and line breaks (RFC 4180, section 2)", text: 'a,b\n"x ""y"", z","1\n2"\n', want: [{ a: 'x "y", z', b: "1\n2" }] },
    { name: "an empty last cell and no last line end", text: "a,b\n1,", want: [{ a: "1", b: "" }] },
    { name: "a byte-order mark", text: "\uFEFFa\n1\n", want: [{ a: "1" }] },
    { name: "a header alone", text: "a,b\n", want: [] },
    { name: "nothing", text: "", want: [] },
  ])("$name", ({ text, want }) => expect(readCsv(text)).toEqual(want));
});

describe("readFigures", () => {
  it("leaves out blocks without an area", () => {
    const got = readFigures("id,name,outline_m2,plants\r\na,North,10250.25,\r\nb,South,,12\r\n");
    expect([...got]).toEqual([["a", { outline_m2: 10250.25 }]]);
  });
});
