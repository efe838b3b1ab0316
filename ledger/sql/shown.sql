-- A figure as it is shown: with so many decimals, and a tie goes to the even digit.
create function ledger_shown(value numeric, digits int) returns numeric
immutable parallel safe language sql as $$
  select round(case when abs(value * 10::numeric ^ digits) % 1 = 0.5
                    then 2 * round(value * 10::numeric ^ digits / 2) / 10::numeric ^ digits
                    else value end, digits)
$$;
