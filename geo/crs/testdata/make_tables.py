"""Makes ../systems.csv, ../datums.csv and ../refused.csv out of PROJ's database.

Usage: python3 make_tables.py /usr/share/proj/proj.db   (PROJ 9.1.1: EPSG v10.076)
Needs nothing but the standard library. Output is the same for the same database.
"""
import csv, os, re, sqlite3, sys
from decimal import Decimal
from fractions import Fraction

db = sqlite3.connect(sys.argv[1])
here = os.path.join(os.path.dirname(os.path.abspath(__file__)), '..')

# EPSG datum -> (family, metres it may lie off WGS 84 in 2026). The figure for
# NAD83 is the 1.1 to 1.6 m of PROJ's NAD83(2011) to ITRF2014 in Arkansas, Oregon
# and North Carolina; the others are plate rate x years since the realisation's
# epoch, rounded up, rates from memory (Europe 2.5 cm a year, Australia 7,
# others 1 to 5). None is used in arithmetic.
FAMILY = {}
def family(name, off, *codes):
    for c in codes: FAMILY[c] = (name, off)
family('WGS 84', 0, 6326)
family('NAD83', 1.6, 6269, 6152, 6759, 1116, 1133, 1211, 6140, 1192, 1193, 1194, 1195, 1196, 1197, 1198, 1283)
family('ETRS89', 1, 6258, 1132, 1305, 6171, 1312, 1313, 6619, 6761, 6765, 1214, 1251, 1167, 1057, 6173,
       6126, 6180, 6661, 6670, 1041, 1032, 1035)
family('GDA94', 2.2, 6283)
family('GDA2020', 0.5, 1168)
family('NZGD2000', 1.3, 6167)
family('SIRGAS', 1.5, 6674, 6170, 6686, 1067, 1225, 1065, 1062, 6190, 1063, 1068, 1243, 1252, 1253, 1327)
family('Mexico ITRF', 1, 1042, 1120)
family('CGCS2000', 1, 1043)
family('KGD2002', 1, 6737)
family('Hartebeesthoek94', 1, 6148)
for code, name in db.execute("select code,name from geodetic_datum where auth_name='EPSG' and deprecated=0"):
    if name.startswith('World Geodetic System 1984 ('): FAMILY[code] = ('WGS 84', 0)
    if name.startswith('International Terrestrial Reference Frame'): FAMILY[code] = ('ITRF', 1)
    if name.startswith('European Terrestrial Reference Frame'): FAMILY[code] = ('ETRS89', 1)
have_datum = {r[0] for r in db.execute("select code from geodetic_datum where auth_name='EPSG'")}
for c in [c for c in FAMILY if c not in have_datum]: del FAMILY[c]
# Names seen in files beside those the database knows.
MORE = {6326: ['WGS_84', 'WGS1984', 'World_Geodetic_System_1984'], 6269: ['NAD_1983', 'North_American_Datum_of_1983'],
        6152: ['NAD_1983_HARN', 'NAD83_HARN', 'NAD_1983_HARN_Datum'], 6258: ['ETRS_89', 'European_Terrestrial_Reference_System_89']}

def norm(name):
    return re.sub('[^a-z0-9]', '', re.sub('^d_', '', name.lower()).replace('ensemble', ''))

def esri(table, code):
    rows = [r[0] for r in db.execute("select alt_name from alias_name where table_name=? and auth_name='EPSG' and code=? and source='ESRI' order by alt_name", (table, code))]
    return rows[0] if rows else ''

def num(v):
    if v is None: return ''
    s = repr(float(v))
    return s[:-2] if s.endswith('.0') else s

# --- datums ---
taken, datums = {}, []
order = sorted(FAMILY, key=lambda c: (c != 6326, c != 6269, c != 6258, c))
for code in order:
    name, ell = db.execute("select name,ellipsoid_code from geodetic_datum where auth_name='EPSG' and code=?", (code,)).fetchone()
    a, rf = db.execute("select semi_major_axis,inv_flattening from ellipsoid where auth_name='EPSG' and code=?", (ell,)).fetchone()
    taken.setdefault(norm(name), code)
    datums.append([code, name, FAMILY[code][0], num(FAMILY[code][1]), num(a), num(rf), esri('geodetic_datum', code)])
for row in datums:
    code, keys = row[0], [norm(row[1])]
    g = db.execute("select code from geodetic_crs where auth_name='EPSG' and datum_auth_name='EPSG' and datum_code=? and type='geographic 2D' and deprecated=0 order by code", (code,)).fetchall()
    gcs = esri('geodetic_crs', g[0][0]) if g else ''
    aliases = [r[0] for r in db.execute("select alt_name from alias_name where table_name='geodetic_datum' and auth_name='EPSG' and code=? order by alt_name", (code,))]
    for alias in aliases + MORE.get(code, []):
        k = norm(alias)
        if not re.search('[a-z]', k) or 'guam' in k: continue
        if taken.setdefault(k, code) == code and k not in keys: keys.append(k)
    row += [gcs, ' '.join(keys)]
with open(os.path.join(here, 'datums.csv'), 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n')
    w.writerow('code name family off_m a rf esri gcs keys'.split())
    w.writerows(datums)

# --- systems ---
METHODS = {9807: 'tm', 9802: 'lcc', 9801: 'lcc1', 9822: 'albers', 1024: 'webmerc'}
LAT, LON, SP1, SP2, SCALE, FE, FN = (8801, 8821), (8802, 8822), (8823,), (8824,), (8805,), (8806, 8826), (8807, 8827)
UNITS = {9001: Fraction(1), 9002: Fraction(3048, 10000), 9003: Fraction(1200, 3937)}
UNIT = {9001: 'm', 9002: 'ft', 9003: 'ftUS'}

def angle(value, uom):
    """Degrees, or degrees:minutes:seconds where EPSG has it sexagesimal, which is exact."""
    if uom == 9102: return num(value)
    if uom != 9110: raise ValueError(uom)
    sign, _, rest = '-' if value < 0 else '', 0, None
    d, _, m = format(Decimal(repr(abs(value))), 'f').partition('.')
    m = m.ljust(4, '0')
    mm, ss = m[:2], m[2:4] + ('.' + m[4:] if m[4:].strip('0') else '')
    if float(ss) == 0: return sign + d + (':' + str(int(mm)) if int(mm) else '')
    return sign + d + ':' + str(int(mm)) + ':' + (ss.lstrip('0') or '0')

def area(table, code):
    rows = db.execute("select west_lon,south_lat,east_lon,north_lat from usage u join extent e on e.auth_name=u.extent_auth_name and e.code=u.extent_code where object_table_name=? and object_auth_name='EPSG' and object_code=? order by u.code", (table, code)).fetchall()
    w, s, e, n = rows[0]
    return [num(v) for v in (w, s, e, n)]

def size(box):
    w, s, e, n = map(float, box)
    return ((e - w) % 360 or 360) * (n - s)

systems = []
for code, name, kind, datum, cs in db.execute("select code,name,type,datum_code,coordinate_system_code from geodetic_crs where auth_name='EPSG' and type like 'geographic%' and deprecated=0 and datum_auth_name='EPSG'"):
    if datum not in FAMILY: continue
    units = {r[0] for r in db.execute("select uom_code from axis where coordinate_system_auth_name='EPSG' and coordinate_system_code=? and coordinate_system_order<3", (cs,))}
    if units != {9122}: continue
    systems.append([code, name, 'geo' if kind.endswith('2D') else 'geo3'] + [''] * 7 + ['', datum] + area('geodetic_crs', code))

q = """select p.code,p.name,c.name,c.method_code,g.datum_code,p.coordinate_system_code,
 param1_code,param1_value,param1_uom_code,param2_code,param2_value,param2_uom_code,param3_code,param3_value,param3_uom_code,
 param4_code,param4_value,param4_uom_code,param5_code,param5_value,param5_uom_code,param6_code,param6_value,param6_uom_code,
 param7_code,param7_value,param7_uom_code
 from projected_crs p join conversion_table c on c.auth_name=p.conversion_auth_name and c.code=p.conversion_code
 join geodetic_crs g on g.auth_name=p.geodetic_crs_auth_name and g.code=p.geodetic_crs_code
 where p.auth_name='EPSG' and p.deprecated=0 and g.datum_auth_name='EPSG' order by p.code"""
for r in db.execute(q):
    code, name, conv, method, datum, cs = r[:6]
    if datum not in FAMILY or method not in METHODS: continue
    if 7755 <= code <= 7787 or FAMILY[datum][0] == 'ITRF' or datum in (1193, 1194, 1195, 1196, 1197, 1198): continue
    box = area('projected_crs', code)
    # Local grids of a county or a railway, of 3 degrees square or less, are left
    # out unless they are state plane zones: their .prj text carries them anyway.
    if size(box) < 9 and not conv.startswith('SPCS83') and not re.search(r'UTM zone|^[^/]*/ [A-Z][a-z]+ (\(|$)', name): continue
    if re.search(r'WISCRS|InGCS|Iowa|KS RCS|NCRS|Oregon .* zone|RMTCRS|BLM|CS2000|Seabed|TM 6 NE|TMzn|MTQ|SWEREF99 \d|3-degree|Arctic|SCAR|Antarctic|RGF93 v2.* CC|RGF93 v2.* Lambert|POSGAR 98|POSGAR 94|TUREF|SIRGAS-Chile 201|MTQ|Circuit|Transantarctic', name): continue
    axes = db.execute("select orientation,uom_code from axis where coordinate_system_auth_name='EPSG' and coordinate_system_code=? order by coordinate_system_order", (cs,)).fetchall()
    if {a[0] for a in axes} != {'east', 'north'}: continue
    unit = axes[0][1]
    if unit not in UNITS or axes[1][1] != unit: continue
    p = {}
    for i in range(7):
        k, v, u = r[6 + 3 * i:9 + 3 * i]
        if k is not None: p[k] = (v, u)
    def get(keys):
        return next((p[k] for k in keys if k in p), None)
    def ang(keys):
        v = get(keys)
        return '' if v is None else angle(*v)
    def dist(keys):
        v, u = get(keys)
        if u == unit: return num(v)
        return num(float(Fraction(Decimal(repr(v))) * UNITS[u] / UNITS[unit]))
    k = get(SCALE)
    systems.append([code, name, METHODS[method], ang(LAT), ang(LON), ang(SP1), ang(SP2), '' if k is None else num(k[0]),
                    dist(FE), dist(FN), UNIT[unit], datum] + box)
systems.sort(key=lambda r: r[0])
with open(os.path.join(here, 'systems.csv'), 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n')
    w.writerow('code name method lat lon sp1 sp2 scale east north unit datum west south east_lon north_lat'.split())
    w.writerows(systems)

# --- systems refused by name: those a grower's file is most likely to carry ---
refused = []
have = {s[0] for s in systems}
for r in db.execute("select p.code,p.name,m.name,d.name,d.code,m.code from projected_crs p join conversion_table c on c.auth_name=p.conversion_auth_name and c.code=p.conversion_code join conversion_method m on m.auth_name=c.method_auth_name and m.code=c.method_code join geodetic_crs g on g.auth_name=p.geodetic_crs_auth_name and g.code=p.geodetic_crs_code join geodetic_datum d on d.auth_name=g.datum_auth_name and d.code=g.datum_code where p.auth_name='EPSG' and (p.deprecated=0 or p.code in (26931,5104)) order by p.code"):
    code, name, method, dname, datum, mcode = r
    if code in have: continue
    if datum not in FAMILY:
        if datum in (6267, 6277, 6230) or (code in (2056, 21781, 28992, 31370, 5514, 2065, 3067, 29902, 31467, 31466, 31468, 23700, 3912, 31256, 3844, 2100, 3035)):
            refused.append([code, name, 'crs-datum', dname])
    elif mcode not in METHODS:
        refused.append([code, name, 'crs-projection', method])
for r in db.execute("select g.code,g.name,d.name,d.code from geodetic_crs g join geodetic_datum d on d.auth_name=g.datum_auth_name and d.code=g.datum_code where g.auth_name='EPSG' and g.type='geographic 2D' and g.deprecated=0 order by g.code"):
    if r[3] not in FAMILY: refused.append([r[0], r[1], 'crs-datum', r[2]])
refused.sort()
with open(os.path.join(here, 'refused.csv'), 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n')
    w.writerow('code name rule what'.split())
    w.writerows(refused)
print(len(datums), len(systems), len(refused))
