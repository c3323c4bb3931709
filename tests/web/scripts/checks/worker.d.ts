/** The line that the server puts in front of the script. */
declare const VERSION: string;
