/* Times overlays and buffers with GEOS on the lines that the Go package
 * geo/overlay/benchinput writes (columns parted by tabs: name, op, operands as
 * WKT), to stand beside the Go benchmarks on the same input.
 *
 *   cc -O2 -o geos_bench geos_bench.c -lgeos_c
 *   ./geos_bench INPUT ROUNDS
 *
 * One line a set on standard output, parted by tabs: name, op, cases, least
 * CPU nanoseconds of a round, sum of the results' areas in m2. Reading WKT is
 * not timed. Any failure ends the program with 1.
 */
#include <geos_c.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { QUADRANT_SEGMENTS = 24 };

struct work {
  char *name, *op;
  GEOSGeometry *a, *b;
  double distance;
};

static void complain(const char *format, ...) {
  va_list args;
  va_start(args, format);
  vfprintf(stderr, format, args);
  va_end(args);
  fputc('\n', stderr);
}

static void die(const char *what) {
  complain("geos_bench: %s", what);
  exit(1);
}

static long long cpu_now(void) {
  struct timespec t;
  if (clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t) != 0) die("no CPU clock");
  return (long long)t.tv_sec * 1000000000LL + t.tv_nsec;
}

static GEOSGeometry *read_wkt(GEOSWKTReader *reader, const char *text) {
  GEOSGeometry *g = text ? GEOSWKTReader_read(reader, text) : NULL;
  if (!g) die("cannot read a geometry");
  return g;
}

static struct work read_line(GEOSWKTReader *reader, char *line) {
  struct work w = {0};
  char *rest = line;
  line[strcspn(line, "\n")] = 0;
  char *name = strsep(&rest, "\t"), *op = strsep(&rest, "\t");
  char *first = strsep(&rest, "\t"), *second = strsep(&rest, "\t");
  if (!name || !op || !first) die("a line with fewer than three columns");
  w.name = strdup(name);
  w.op = strdup(op);
  if (strcmp(op, "buffer") == 0) {
    w.distance = atof(first);
    w.a = read_wkt(reader, second);
  } else {
    w.a = read_wkt(reader, first);
    if (strcmp(op, "unionall") != 0) w.b = read_wkt(reader, second);
  }
  return w;
}

static GEOSGeometry *run(const struct work *w) {
  if (strcmp(w->op, "union") == 0) return GEOSUnion(w->a, w->b);
  if (strcmp(w->op, "difference") == 0) return GEOSDifference(w->a, w->b);
  if (strcmp(w->op, "unionall") == 0) return GEOSUnaryUnion(w->a);
  if (strcmp(w->op, "buffer") == 0) return GEOSBuffer(w->a, w->distance, QUADRANT_SEGMENTS);
  die("an unknown op");
  return NULL;
}

int main(int argc, char **argv) {
  if (argc != 3 || atoi(argv[2]) < 1) die("usage: geos_bench INPUT ROUNDS");
  int rounds = atoi(argv[2]);
  FILE *in = fopen(argv[1], "r");
  if (!in) die("cannot open the input");
  initGEOS(complain, complain);
  GEOSWKTReader *reader = GEOSWKTReader_create();
  struct work *all = NULL;
  size_t count = 0, room = 0, size = 0;
  char *line = NULL;
  while (getline(&line, &size, in) > 0) {
    if (count == room) {
      room = room ? 2 * room : 256;
      all = realloc(all, room * sizeof *all);
      if (!all) die("no memory");
    }
    all[count++] = read_line(reader, line);
  }
  for (size_t from = 0, to; from < count; from = to) {
    for (to = from; to < count && strcmp(all[to].name, all[from].name) == 0; to++) {
    }
    long long best = -1;
    double area = 0;
    for (int r = 0; r < rounds; r++) {
      area = 0;
      long long spent = 0;
      for (size_t i = from; i < to; i++) {
        long long start = cpu_now();
        GEOSGeometry *g = run(&all[i]);
        spent += cpu_now() - start;
        double one = 0;
        if (!g || !GEOSArea(g, &one)) die("the engine failed");
        area += one;
        GEOSGeom_destroy(g);
      }
      if (best < 0 || spent < best) best = spent;
    }
    printf("%s\t%s\t%zu\t%lld\t%.6f\n", all[from].name, all[from].op, to - from, best, area);
  }
  return 0;
}
