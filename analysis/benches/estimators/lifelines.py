"""The same rows through Python's lifelines: FOLDER ROWS FEWER. Prints "name seconds" (of the processor) and "name= values"."""

import statistics
import sys
import time

import pandas
from lifelines import CoxTimeVaryingFitter, KaplanMeierFitter
from lifelines.statistics import multivariate_logrank_test

folder, rows, fewer = sys.argv[1:]


def table(rows):
    return pandas.read_csv(f"{folder}/rows_{rows}_whole.csv")


def report(name, times, f):
    seconds = []
    for _ in range(times):
        began = time.process_time()
        value = f()
        seconds.append(time.process_time() - began)
    print(f"{name} {statistics.median(seconds):.6f}", flush=True)
    return value


whole = table(rows)
curve = report("kaplan_meier", 3, lambda: KaplanMeierFitter().fit(whole.stop, whole.event, entry=whole.start))
print("kaplan_meier=", float(curve.survival_function_.iloc[-1, 0]))
test = report(
    "log_rank_right_censored",
    3,
    lambda: multivariate_logrank_test(whole.stop - whole.start, whole.band, whole.event),
)
print("log_rank_right_censored=", float(test.test_statistic))

few = table(fewer).drop(columns=["tank", "band"])
few["id"] = range(len(few))
fit = report(
    "cox_fewer",
    1,
    lambda: CoxTimeVaryingFitter().fit(few, id_col="id", event_col="event", start_col="start", stop_col="stop"),
)
print("cox_fewer=", *fit.params_.tolist())
