drop function ledger_last_day(date, date, date);
