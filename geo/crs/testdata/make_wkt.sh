#!/bin/sh
# Makes texts.txt: systems in every form PROJ writes (projinfo of PROJ 9.1.1),
# one after another: "-- name: what is expected", then the text.
cd "$(dirname "$0")" || exit 1
: > texts.txt
put() { # code form name expectation
  text=$(projinfo -q --single-line -o "$2" "$1" 2>/dev/null) || return 0 # a form that cannot say it
  case $text in [A-Z]*) ;; *) return 0 ;; esac
  printf '%s %s: %s\n%s\n' -- "$3" "$4" "$text" >> texts.txt
}
for code in 26915 32721 3433 2913 5070 3857 4326 4269 2154 2193 6350 28355 3347; do
  for form in WKT1_GDAL WKT1_ESRI WKT2:2015 WKT2:2019 WKT2:2019_SIMPLIFIED; do
    put EPSG:$code $form "$code-$(echo $form | tr : -)" "EPSG:$code"
  done
done
for form in WKT1_GDAL WKT1_ESRI WKT2:2019; do
  f=$(echo $form | tr : -)
  put EPSG:26915+5703 $form "vertical-$f" "EPSG:26915 crs-vertical"
  case $form in WKT1_ESRI) heights=4326 ;; *) heights=4979 ;; esac # that form has no code
  put EPSG:4979 $form "heights-$f" "EPSG:$heights"
  put EPSG:26715 $form "nad27-$f" "crs-datum"
  put EPSG:27700 $form "osgb36-$f" "crs-datum"
  put EPSG:23030 $form "ed50-$f" "crs-datum"
  put EPSG:26931 $form "hotine-$f" "crs-projection"
  put EPSG:3413 $form "polar-$f" "crs-projection"
  put EPSG:6933 $form "cylindrical-$f" "crs-projection"
  put EPSG:3395 $form "mercator-$f" "crs-projection"
  put EPSG:2056 $form "swiss-$f" "crs-datum"
  put EPSG:5514 $form "krovak-$f" "crs-datum"
  put EPSG:2052 $form "south-$f" "crs-projection"
  put EPSG:27561 $form "paris-$f" "crs-datum"
  put EPSG:4807 $form "grads-$f" "crs-datum"
  put EPSG:4978 $form "geocentric-$f" "crs-projection"
  put EPSG:5703 $form "height-only-$f" "crs-projection"
done
put ESRI:102113 WKT1_ESRI webmercator-102113 "EPSG:3857"
put ESRI:102039 WKT1_ESRI albers-102039 "EPSG:5070"
