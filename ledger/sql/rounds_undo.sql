drop function ledger_round_totals(uuid);
drop function ledger_round_pledges(uuid);
drop function ledger_close_round(uuid, timestamptz, int);
drop trigger check_pledge on ledger_roundpledge;
drop function ledger_check_pledge();
drop trigger owe_round on ledger_orderround;
drop function ledger_owe_round();
