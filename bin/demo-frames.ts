process.stderr.write('not wired yet\n');
process.exitCode = 2;
