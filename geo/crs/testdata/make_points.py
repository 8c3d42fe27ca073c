"""Makes points.csv.gz, three points of every projected system of ../systems.csv, and far.csv.

Usage: python3 make_points.py   (python3-gdal 3.6.2 over PROJ 9.1.1)
lon, lat are on the system's own datum; x, y in its unit, east and north.
"""
import csv, gzip, io, os
from osgeo import osr
osr.UseExceptions()
here = os.path.dirname(os.path.abspath(__file__))
out = io.StringIO()
out.write('code,lon,lat,x,y\n')
for r in csv.DictReader(open(os.path.join(here, '..', 'systems.csv'))):
    if r['method'].startswith('geo'): continue
    w, s, e, n = (float(r[k]) for k in ('west', 'south', 'east_lon', 'north_lat'))
    if e < w: e += 360
    to = osr.SpatialReference(); to.ImportFromEPSG(int(r['code'])); to.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    frm = to.CloneGeogCS(); frm.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    t = osr.CoordinateTransformation(frm, to)
    for f, g in ((0.03, 0.1), (0.5, 0.5), (0.97, 0.9)):
        lon, lat = round(w + (e - w) * f, 4), round(s + (n - s) * g, 4)
        if lon > 180: lon = round(lon - 360, 4)
        x, y, _ = t.TransformPoint(lon, lat)
        out.write('%s,%.4f,%.4f,%.9f,%.9f\n' % (r['code'], lon, lat, x, y))
with open(os.path.join(here, 'points.csv.gz'), 'wb') as f:
    with gzip.GzipFile(filename='', mode='wb', fileobj=f, mtime=0) as z: z.write(out.getvalue().encode())

# far.csv: places all over the globe in a few systems, to hold the bound outside the area of use.
with open(os.path.join(here, 'far.csv'), 'w', newline='') as f:
    f.write('code,lon,lat,x,y\n')
    for code in (26915, 32721, 3433, 2913, 5070, 3347, 3857, 3005, 2193, 9191):
        to = osr.SpatialReference(); to.ImportFromEPSG(code); to.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
        frm = to.CloneGeogCS(); frm.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
        t = osr.CoordinateTransformation(frm, to)
        for lat in (-88.9, -85, -60, -33.3, -1, 12, 47.7, 71, 84, 88.9):
            for lon in (-170, -129, -105, -93.7, -80, -60, 10, 80, 170):
                try: x, y, _ = t.TransformPoint(lon, lat)
                except RuntimeError: continue
                if abs(x) < 1e9 and abs(y) < 1e9: f.write('%d,%g,%g,%.9f,%.9f\n' % (code, lon, lat, x, y))
