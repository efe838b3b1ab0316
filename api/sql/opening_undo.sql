drop function api_end_tokens(int);
drop function api_forget_tokens();
drop function api_forget_answers();
drop function api_memberships(int);
drop function api_open(bytea, text, text, bytea);
