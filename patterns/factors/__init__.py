"""The eight factors, one file each: what a coach takes stock of, as terms that add up to a balance.

Each module has `terms(view) -> tuple[Term, ...]`. A term is one kind of reason. The balance of a factor is
the sum of its terms, White's minus Black's. The sentences that a student reads are made from the same terms.
"""
