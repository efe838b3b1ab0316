drop function api_reader(bytea);
