drop function ledger_check_retest() cascade;
alter table ledger_decision drop constraint ledger_decision_cause_id_fk;
