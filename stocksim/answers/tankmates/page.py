"""Who may share a tank or a loop: the matrix, the reasons, and what could be done instead."""

from stocksim.answers.tankmates.answer import company_answer
from stocksim.answers.tankmates.decide import judge_company
from stocksim.faces import showing

season = showing.begin("Company").season
assert season is not None  # without one the page has ended
answer = company_answer(judge_company(season), season.site.file.site.units)
showing.verdict(answer)
showing.show(answer)
