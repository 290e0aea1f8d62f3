"""Read a data set with pandas alone: what it is, one series by day, and how far it can be trusted.

leafweather export farm.toml march --start 2026-03-01 --end 2026-04-01 --format csv
python read_a_data_set.py march
"""

# %% Which folder: the first argument, else the folder we are in
import json
import sys
from pathlib import Path

import pandas

folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")

# %% What is it, and how is it to be cited?
package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
print(package["title"])
print(package["leafweather"]["citation"])
if package["leafweather"]["damaged"]:
    print("Days are missing because they are damaged:", package["leafweather"]["damaged"])

# %% Which series are there, in which units, how complete?
series = pandas.read_csv(folder / "series.csv", parse_dates=["first", "last"]).set_index("series")
print(series[["label", "unit", "readings", "gaps", "flag_suspect", "flag_fail"]].to_string())

# %% The readings: one row each. Flags 1 and 2 are good and not evaluated.
readings = pandas.read_csv(folder / "readings.csv", parse_dates=["time"])
good = readings[readings["flag"].isin([1, 2])]

# %% One column a series, hour by hour, of all levels of one zone
levels = series[(series["kind"] == "level") & (series["readings"] > 0)]
zone = levels["zone"].iloc[0]
wanted = good[good["series"].isin(levels.index[levels["zone"] == zone])]
hourly = wanted.pivot_table(index=pandas.Grouper(key="time", freq="1h"), columns="series", values="value")
print(hourly.describe().T.to_string())

# %% The coldest and the warmest hour of each series, in local time if you name the zone
print(hourly.tz_convert("Europe/Oslo").agg(["idxmin", "idxmax"]).T.to_string())
