import { area } from "./area";

export const papers = area(
  {
    "papers-title": "What do the records say?",
    "papers-all-lines": "Show all {n} lines",
  },
  {
    "papers-title": "¿Qué dicen los registros?",
    "papers-all-lines": "Ver las {n} líneas",
  },
);
