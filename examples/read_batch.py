"""Reads the table of a batch with h5py and pandas: python3 examples/read_batch.py table.h5"""

import sys

import h5py
import pandas


def read_batch(path):
    """The table as a DataFrame by variant, and the unit and role ("input", "output") of each column of numbers."""
    with h5py.File(path) as file:
        if file.attrs["complete"] != 1:
            raise SystemExit(f"{path} is not complete: run the batch again with --resume")
        group = file["batch"]
        columns = {name: dataset[:] for name, dataset in group.items() if name != "variant"}
        about = {
            name: (dataset.attrs["units"], dataset.attrs["role"])
            for name, dataset in group.items()
            if "role" in dataset.attrs
        }
        index = pandas.Index(group["variant"][:], name="variant")
    table = pandas.DataFrame(columns, index=index)
    for name in ["status", "verdict", "doubts", "error"]:
        table[name] = table[name].str.decode("utf-8")
    return table, about


if __name__ == "__main__":
    table, about = read_batch(sys.argv[1])
    print(f"{len(table)} variants, complete")
    print(table["status"].value_counts().to_string())
    done = table[table["status"] == "done"]
    inputs = [name for name, (_, role) in about.items() if role == "input"]
    outputs = [name for name, (_, role) in about.items() if role == "output"]
    print(done[outputs].quantile([0.05, 0.5, 0.95]).T.to_string())
    # Which inputs go with which outputs: correlation of ranks.
    ranks = done[inputs + outputs].rank().corr()
    print(ranks.loc[outputs, inputs].round(2).to_string())
