"""Ask a running Leafweather with pandas alone: what is measured now, and a week's mean VPD by light and dark.

python ask_the_api.py http://127.0.0.1:8800 row-1
python ask_the_api.py https://farm.example row-1 TOKEN

Each `# %%` is a cell in editors that know notebooks. Nothing is asked but by pandas' own readers.
"""

# %% Where, which zone, and who asks: a token where people sign in (leafweather token make prints one)
import sys

import pandas

page = sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8800"  # in a notebook, write yours here
zone = sys.argv[2] if len(sys.argv) > 2 else "row-1"
who = {"Authorization": f"Bearer {sys.argv[3]}"} if len(sys.argv) > 3 else None
api = page.rstrip("/") + "/api/v1"

# %% The newest reading of each series of the zone: value, unit, flag (1 good, 2 not evaluated), how old
latest = pandas.read_json(f"{api}/latest?zone={zone}", storage_options=who)
newest = pandas.DataFrame(latest["latest"].tolist()).set_index("key")
print(newest[["value", "unit", "uncertainty", "flag", "age_s"]].to_string())


# %% A week, hour by hour: value is each hour's mean, count the readings in it; failed and missing ones do not count
def week(quantity: str) -> pandas.DataFrame:
    url = f"{api}/series/{zone}/{quantity}/readings?start=-7d&every=1h&format=csv"
    return pandas.read_csv(url, parse_dates=["time"], storage_options=who).set_index("time")


vpd, lights = week("vapour_pressure_deficit"), week("lights_on")
unit = vpd.columns[0]  # "value [kPa]": the unit stands in the name
print(f"{len(vpd)} hours from {vpd.index[0]} to {vpd.index[-1]}")

# %% Lit and dark hours. An hour in which the lights were switched is neither; the share lit is the state's mean.
share_lit = lights[lights.columns[0]].reindex(vpd.index)
hours = vpd.assign(light=share_lit.map({1.0: "lit", 0.0: "dark"})).dropna(subset=["light", unit])
print(f"{len(vpd) - len(hours)} hours left out: lights switched or not known, or no VPD")

# %% Means by light and dark, each hour weighing as many readings as it has
weighed = (hours[unit] * hours["count"]).groupby(hours["light"]).sum() / hours.groupby("light")["count"].sum()
table = pandas.DataFrame({f"mean VPD {unit[6:]}": weighed, "hours": hours.groupby("light").size()})
print(table.round(3).to_string())
