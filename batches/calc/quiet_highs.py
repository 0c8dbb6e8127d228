"""HiGHS, without a word on standard output."""

import highspy


class QuietHighs(highspy.Highs):
    """The solver without its callbacks, which are not used here and whose setting up prints a banner."""

    def __init__(self) -> None:
        super(highspy.Highs, self).__init__()
        self.setOptionValue("output_flag", False)
