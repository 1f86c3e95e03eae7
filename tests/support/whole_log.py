"""A log read in one go, as it would be stored: rows in order of time, without what rules set aside."""

import numpy as np

from tbmreview.domain.samples import Samples, join
from tbmreview.ingest.read import LogReader
from tbmreview.ingest.surroundings import LIMITS, judge


def whole_log(reader: LogReader) -> Samples:
    """The samples of a log of a day; the reader is told what the rules marked."""
    blocks = list(reader)
    samples, lines = join([block.samples for block in blocks]), np.concatenate([b.lines for b in blocks])
    order = np.argsort(samples.time_us, kind="stable")
    whole = Samples(samples.time_us[order], {n: v[order] for n, v in samples.values.items()})
    seen = Samples(whole.time_us, {n: v for n, v in whole.values.items() if n in LIMITS})
    marks = judge(seen, {name: [scale] for name, scale in reader.scales.items()})
    reader.judged(seen, lines[order], marks)
    values = dict(whole.values)
    for (_, name), some in marks.items():
        values[name] = np.where(some, np.nan, values[name])
    return Samples(whole.time_us, values)
