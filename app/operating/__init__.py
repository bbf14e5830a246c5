"""What an operator needs beside the service: backup and restore of both databases, and a look whether all is well."""
