drop function ledger_tell_of_notice() cascade;
