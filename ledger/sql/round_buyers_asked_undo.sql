alter policy wall on ledger_roundbuyeranswer with check (
  coop_id = nullif(current_setting('app.coop', true), '')::uuid);
drop trigger check_buyer on ledger_roundbuyer;
drop function ledger_check_buyer();
drop function ledger_hold_buyer(uuid);
drop function ledger_round_agreed(uuid);
drop function ledger_round_buyer(uuid);
drop function ledger_round_asked(uuid);
