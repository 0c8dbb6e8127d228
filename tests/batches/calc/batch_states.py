"""Any state a batch can be in while it is weighed, in micrograms."""

from hypothesis import strategies as st


@st.composite
def states(draw, most_lines=7, top_ups=False):
    """Any state of a batch: open, short, full and overpoured lines, scarce and plentiful shelf."""
    count = draw(st.integers(1, most_lines))
    targets = [draw(st.integers(200_000, 5_000_000)) for _ in range(count)]
    poured, available, smallest = [], [], []
    for target in targets:
        permille = draw(st.sampled_from([0, 0, 500, 985, 1000, 1000, 1010, 1100, 1500, 4000]))
        poured.append(target * permille // 1000)
        available.append(draw(st.sampled_from([0, target // 10, target // 2, target, 3 * target, 10**9])))
        smallest.append(draw(st.sampled_from([0, target // 100, target // 10])) if top_ups else 0)
    capacity = draw(st.sampled_from([None, sum(targets), sum(targets) * 11 // 10, sum(targets) * 2]))
    return {
        "planned": targets,
        "targets": targets,
        "poured": poured,
        "available": available,
        "smallest": smallest,
        "capacity": capacity,
    }
